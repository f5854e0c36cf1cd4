"""Several carts on a real broker, their closed sessions gathered: whole, resumed, checked, and reviewed together."""

from __future__ import annotations

import json
import threading
import time
import zlib

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from store_of_fills import add_fill

from logger.cart_transfer import MOST_SILENCES, CartTransfer
from logger.cli import main
from logger.incoming import Incoming, read_head, read_list
from logger.publish.broker_link import BrokerSettings
from logger.publish.handing_out import CHUNK_BYTES, handing_out, head_of, read_ask
from logger.record.dataset import Dataset
from logger.record.store import Store
from logger.shelf import SessionShelf

duckdb = pytest.importorskip("duckdb", reason="reads the data set with an engine that is not ours")


class Shop:
    """Carts with a store each, handing out on one broker."""

    def __init__(self, port: int, folder):
        self.port, self.folder = port, folder
        self.stores: dict[str, Store] = {}
        self.links = {}

    def cart(self, cart_id: str, sessions: int, **fill) -> Store:
        if cart_id not in self.stores:
            self.stores[cart_id] = Store.open(self.folder / cart_id / "tarebook.db")
        store = self.stores[cart_id]
        for _ in range(sessions):
            add_fill(store, cart_id, **fill)
        if cart_id not in self.links:
            self.links[cart_id] = handing_out(
                BrokerSettings("127.0.0.1", self.port), cart_id, SessionShelf(store.path, cart_id)
            )
            self.links[cart_id].start()
        return store

    def close(self) -> None:
        for link in self.links.values():
            link.stop()
        for store in self.stores.values():
            store.close()


@pytest.fixture
def shop(mosquitto, tmp_path):
    shop = Shop(mosquitto.port, tmp_path / "carts")
    yield shop
    shop.close()


def collect(port: int, into, *more: str) -> int:
    return main(["collect", "--broker", f"127.0.0.1:{port}", "--into", str(into), *more])


def test_sessions_of_three_carts_become_one_data_set(mosquitto, shop, tmp_path, capsys):
    stores = [shop.cart(f"cart-{k}", sessions=2, error_g=float(k)) for k in range(3)]
    into = tmp_path / "all"
    assert collect(mosquitto.port, into) == 0
    out = capsys.readouterr().out
    assert [line.split()[:4] for line in out.splitlines()] == [[f"cart-{k}", "2", "taken", "in,"] for k in range(3)]
    rows = duckdb.sql(
        f"SELECT cart_id, month, count(*), count(DISTINCT session_id) FROM read_parquet('{into}/readings/**/*.parquet',"
        " hive_partitioning = true) GROUP BY ALL ORDER BY ALL"
    ).fetchall()
    kept = [sum(len(s.reader().recording(f"cart-{k}-0000{n}").rows) for n in (1, 2)) for k, s in enumerate(stores)]
    assert rows == [(f"cart-{k}", "2026-05", kept[k], 2) for k in range(3)]
    assert main(["review", "--dataset", str(into), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["all"]["sessions"] == 6 and set(found["carts"]) == {"cart-0", "cart-1", "cart-2"}
    mean = duckdb.sql(
        "SELECT avg((findings::JSON->'charge'->>'delivered_g')::DOUBLE - target_g) "
        f"FROM read_parquet('{into}/sessions/**/*.parquet', hive_partitioning = true)"
    ).fetchall()[0][0]
    assert found["all"]["charge_error"]["mean"] == pytest.approx(mean) == pytest.approx(1.0)
    assert main(["review", "--dataset", str(into)]) == 0
    assert "Cart cart-2" in capsys.readouterr().out


def test_every_reading_arrives_bit_for_bit(mosquitto, shop, tmp_path):
    store = shop.cart("cart-1", sessions=1)
    assert collect(mosquitto.port, tmp_path / "all") == 0
    got = duckdb.sql(f"SELECT t_s, value FROM '{tmp_path}/all/readings/**/*.parquet' ORDER BY t_s").fetchall()
    rows = store.reader().recording("cart-1-00001").rows
    assert got == list(zip(rows.t_s.tolist(), rows.value.tolist(), strict=True))


def test_a_second_run_takes_only_what_is_new_or_changed(mosquitto, shop, tmp_path, capsys):
    store, into = shop.cart("cart-1", sessions=2), tmp_path / "all"
    assert collect(mosquitto.port, into) == 0
    add_fill(store, "cart-1")
    store.run([("INSERT INTO decision (session, decision, reviewer, note) VALUES (?, 'signed', 'R', '')", [(1,)])])
    capsys.readouterr()
    list_of = lambda: retained(mosquitto.port, "tarebook/cart-1/recordings")  # noqa: E731 - asked again and again
    before = read_list(list_of())
    assert until(lambda: len(read_list(list_of())) == 3)
    after = read_list(list_of())
    assert after["cart-1-00001"] != before["cart-1-00001"] and after["cart-1-00002"] == before["cart-1-00002"]
    assert collect(mosquitto.port, into) == 0
    assert "2 taken in, 1 here already" in capsys.readouterr().out
    signed = duckdb.sql(f"SELECT session_id FROM '{into}/sessions/**/*.parquet' WHERE decision = 'signed'").fetchall()
    assert signed == [("cart-1-00001",)]


def test_a_transfer_that_broke_off_goes_on(mosquitto, tmp_path):
    """A cart that sends half of a file and dies; its successor is asked for the other half only."""
    data = bytes(range(256)) * 1024 + b"the end"
    head = read_head(json.dumps({"version": "1", **head_of(data)}).encode())
    first = Incoming(tmp_path / "x.part", head)
    assert first.missing == [0, 1, 2, 3, 4]
    for number in (0, 3):
        assert first.put(number, data[number * CHUNK_BYTES : (number + 1) * CHUNK_BYTES])
    again = Incoming(tmp_path / "x.part", head)
    assert (again.missing, again.resumed) == ([1, 2, 4], 2)
    assert not again.put(1, b"\0" * CHUNK_BYTES), "damaged"
    for number in (4, 2, 1):
        assert not again.whole()
        assert again.put(number, data[number * CHUNK_BYTES : (number + 1) * CHUNK_BYTES])
    assert again.whole() and again.path.read_bytes() == data
    assert not again.put(1, data[CHUNK_BYTES : 2 * CHUNK_BYTES]), "it is here already"


def test_a_cart_that_vanishes_in_the_middle_leaves_its_session_for_the_next_run(mosquitto, shop, tmp_path, capsys):
    shop.cart("cart-1", sessions=1, seconds=1500)
    shop.links["cart-1"].stop()
    speaker = publisher(mosquitto.port)
    shelf = SessionShelf(shop.stores["cart-1"].path, "cart-1")
    versions, file = shelf.versions(), shelf.file("cart-1-00001")
    head = {"session_id": "cart-1-00001", "version": versions["cart-1-00001"], **head_of(file)}
    assert len(head["crc32"]) > 1, "the file must have several chunks for this"

    def answer(_client, _data, message):
        session, chunks = read_ask(message.payload)
        if not chunks:
            speaker.publish("tarebook/cart-1/recording/cart-1-00001", json.dumps(head), qos=1)
        else:
            speaker.publish("tarebook/cart-1/recording/cart-1-00001/0", file[:CHUNK_BYTES], qos=1)
            speaker.publish("tarebook/cart-1/status", "offline", qos=1, retain=True)

    speaker.on_message = answer
    speaker.subscribe("tarebook/cart-1/recordings/ask", qos=1)
    listed = json.dumps({"cart_id": "cart-1", "sessions": versions})
    speaker.publish("tarebook/cart-1/recordings", listed, qos=1, retain=True).wait_for_publish(5)
    into = tmp_path / "all"
    assert collect(mosquitto.port, into) == 1
    assert "left: cart-1-00001: the cart is not there now" in capsys.readouterr().out
    part = into / ".incoming" / "cart-1+cart-1-00001.part"
    assert part.read_bytes()[:CHUNK_BYTES] == file[:CHUNK_BYTES]
    speaker.publish("tarebook/cart-1/status", "online", qos=1, retain=True).wait_for_publish(5)
    speaker.disconnect()
    speaker.loop_stop()
    asked = watch(mosquitto.port, "tarebook/cart-1/recordings/ask")
    del shop.links["cart-1"]
    shop.cart("cart-1", sessions=0)
    assert collect(mosquitto.port, into) == 0
    chunks = [number for payload in asked.payloads for number in read_ask(payload)[1]]
    asked.close()
    assert 0 not in chunks and sorted(chunks) == list(range(1, len(head["crc32"])))
    assert not part.exists() and len(list(into.glob("sessions/**/*.parquet"))) == 1


def test_a_cart_that_never_answers_is_asked_again_and_left_at_last(tmp_path):
    asked = []
    transfer = CartTransfer("cart-1", tmp_path, Dataset(tmp_path), asked.append, 0.0)
    transfer.want({"s-1": "1", "s-2": "1"}, 0.0)
    for second in range(1, 600):
        transfer.look(float(second))
    assert transfer.done and set(transfer.report.left) == {"s-1", "s-2"} and len(asked) == MOST_SILENCES
    assert all(read_ask(message.payload.encode()) == ("s-1", []) for message in asked)


def test_a_file_that_is_another_session_is_refused(mosquitto, shop, tmp_path, capsys):
    shop.cart("cart-1", sessions=1)
    good = SessionShelf(shop.stores["cart-1"].path, "cart-1")

    class Liar:
        def versions(self):
            return {"../../x": "1", "cart-9-1": "1"}

        def file(self, session_id):
            return good.file("cart-1-00001") if session_id == "cart-9-1" else b"no zip at all"

    liar = handing_out(BrokerSettings("127.0.0.1", mosquitto.port), "liar", Liar())
    liar.start()
    try:
        assert collect(mosquitto.port, tmp_path / "all") == 1
    finally:
        liar.stop()
    out = capsys.readouterr().out
    assert "cart-1               1 taken in" in out
    assert "cart-9-1: its file holds another session" in out and "../../x: its file" in out
    outside = list(tmp_path.rglob("*.part")) + [p for p in tmp_path.iterdir() if p.name.startswith("x")]
    assert not outside


@pytest.mark.parametrize("broker", ["", ":1883", "host:port", "host:99999999", "a/b", "user@host"])
def test_an_address_that_is_none_is_one_line(broker, tmp_path, capsys):
    assert main(["collect", "--broker", broker, "--into", str(tmp_path)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_a_folder_without_a_data_set_is_one_line(tmp_path, capsys):
    assert main(["review", "--dataset", str(tmp_path)]) == 2
    assert "tarebook collect" in capsys.readouterr().err


@pytest.mark.parametrize(
    "payload", [b"", b"{}", b"[]", b"\xff", b'{"session_id": 1, "chunks": [-1]}', b'{"chunks": [1]}', b'{"session_id"']
)
def test_what_is_no_ask_asks_for_nothing(payload):
    assert read_ask(payload) is None


@pytest.mark.parametrize(
    "head",
    [
        {},
        {"why": "gone"},
        {"version": "1", "bytes": 1 << 40, "chunk_bytes": 1, "sha256": "", "crc32": []},
        {"version": "1", "bytes": 10, "chunk_bytes": 4, "sha256": "", "crc32": [1, 2]},
        {"version": "1", "bytes": 10, "chunk_bytes": 0, "sha256": "", "crc32": [1]},
        {"version": "1", "bytes": "x", "chunk_bytes": 4, "sha256": "", "crc32": [1, 2, 3]},
    ],
)
def test_a_head_that_does_not_add_up_is_one_line(head):
    with pytest.raises(ValueError) as error:
        read_head(json.dumps(head).encode())
    assert "\n" not in str(error.value)


def test_checksums_of_a_head_are_those_of_zlib():
    """CRC-32's published check value (ITU-T V.42): CBF43926 over the digits 1 to 9."""
    assert head_of(b"123456789")["crc32"] == [0xCBF43926] == [zlib.crc32(b"123456789")]


def until(condition, seconds: float = 30) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.1)
    return False


def publisher(port: int) -> mqtt.Client:
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.connect("127.0.0.1", port)
    client.loop_start()
    return client


class watch:  # noqa: N801 - reads like a function
    """Collects the payloads of one topic."""

    def __init__(self, port: int, topic: str):
        self.payloads: list[bytes] = []
        self._ready = threading.Event()
        self._client = publisher(port)
        self._client.on_message = lambda _c, _u, m: self.payloads.append(m.payload)
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.subscribe(topic, qos=1)
        self._ready.wait(10)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def retained(port: int, topic: str) -> bytes:
    """What the broker keeps on a topic."""
    seen = watch(port, topic)
    until(lambda: seen.payloads, 5)
    seen.close()
    return seen.payloads[0]
