"""The cart's broker as it is installed, run for real: who gets in, and who may say what."""

from __future__ import annotations

import queue
import shutil
import socket
import subprocess
import time
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from store_of_fills import add_fill

from firmware_bridge.cart import MqttConfig
from logger.cart_check import check_broker
from logger.cli import main
from logger.publish.broker_link import BrokerSettings
from logger.publish.handing_out import handing_out
from logger.record.store import Store
from logger.shelf import SessionShelf

FILES = Path(__file__).resolve().parents[2] / "hardware" / "pi" / "files"
WAIT_S = 5.0
PASSWORDS = {"tarebook": "cart-secret", "viewer": "viewer-secret", "collector": "collector-secret"}


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory):
    """The port of a mosquitto with the installed configuration, its paths and port moved here."""
    program = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/sbin:/bin")
    if program is None or shutil.which("mosquitto_passwd") is None:
        pytest.skip("mosquitto is not installed")
    folder = tmp_path_factory.mktemp("broker")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        free = probe.getsockname()[1]
    passwords = folder / "tarebook.passwd"
    passwords.write_text("".join(f"{name}:{password}\n" for name, password in PASSWORDS.items()))
    subprocess.run(["mosquitto_passwd", "-U", passwords], check=True)
    (folder / "tarebook.acl").write_text((FILES / "mosquitto.acl").read_text())
    for path in folder.iterdir():
        path.chmod(0o644)
    folder.chmod(0o755)
    text = (FILES / "mosquitto.conf").read_text()
    moved = text.replace("/etc/mosquitto", str(folder)).replace("listener 1883 ", f"listener {free} ")
    assert moved.count(str(free)) == 1
    config = folder / "mosquitto.conf"
    config.write_text(f"user root\n{moved}")
    process = subprocess.Popen([program, "-c", config], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(100):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", free)) == 0:
                break
        time.sleep(0.05)
    yield free
    process.terminate()
    process.wait(10)


class Client:
    """A client that notes its connection's answer and what it hears."""

    def __init__(self, port: int, name: str | None, password: str | None):
        self.answers: queue.Queue = queue.Queue()
        self.heard: queue.Queue = queue.Queue()
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.on_connect = lambda client, data, flags, reason, properties: self.answers.put(reason)
        self._client.on_message = lambda client, data, message: self.heard.put((message.topic, message.payload))
        self._client.on_subscribe = lambda client, data, mid, reasons, properties: self.answers.put(reasons[0])
        if name:
            self._client.username_pw_set(name, password)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self.connected = not self.answers.get(timeout=WAIT_S).is_failure

    def listen(self, topic: str) -> None:
        self._client.subscribe(topic, qos=1)
        self.answers.get(timeout=WAIT_S)

    def say(self, topic: str, payload: bytes) -> None:
        self._client.publish(topic, payload, qos=1).wait_for_publish(WAIT_S)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.mark.parametrize(
    ("name", "password", "lets_in"),
    [
        (None, None, False),
        ("viewer", "cart-secret", False),
        ("stranger", "x", False),
        ("viewer", "viewer-secret", True),
        ("tarebook", "cart-secret", True),
        ("collector", "collector-secret", True),
        ("collector", "viewer-secret", False),
    ],
)
def test_who_gets_in(port, name, password, lets_in):
    client = Client(port, name, password)
    client.close()
    assert client.connected == lets_in


@pytest.mark.parametrize(
    ("name", "password", "outcome", "says"),
    [
        ("tarebook", "cart-secret", "good", "lets tarebook in at 127.0.0.1"),
        ("tarebook", "viewer-secret", "look", "refuses: Not authorized: mend username, password_file"),
        (None, None, "look", "refuses: Not authorized: mend username, password_file"),
        ("tarebook", None, "look", "mqtt-password: the broker's password cannot be read from it"),
    ],
)
def test_check_cart_says_whether_the_cart_gets_in(port, tmp_path, name, password, outcome, says):
    file = tmp_path / "mqtt-password"
    if password:
        file.write_text(password)
    line = check_broker(MqttConfig("127.0.0.1", port, name, str(file) if name else None, False, None))
    assert line.outcome == outcome and says in line.text, line


def test_the_cart_speaks_and_a_viewer_only_listens(port):
    cart, viewer = Client(port, "tarebook", "cart-secret"), Client(port, "viewer", "viewer-secret")
    viewer.listen("tarebook/#")
    viewer.listen("homeassistant/#")
    viewer.say("tarebook/cart-1/alert", b"forged")
    cart.say("elsewhere/x", b"not ours")
    cart.say("tarebook/cart-1/alert", b"true")
    cart.say("homeassistant/sensor/x/config", b"found")
    heard = [viewer.heard.get(timeout=WAIT_S) for _ in range(2)]
    assert heard == [("tarebook/cart-1/alert", b"true"), ("homeassistant/sensor/x/config", b"found")]
    assert viewer.heard.empty()
    cart.close()
    viewer.close()


@pytest.mark.parametrize("topic", ["alert", "status", "recordings", "recording/s-1/0", "channel/scale"])
def test_a_collector_only_asks(port, topic):
    listener, collector = Client(port, "tarebook", "cart-secret"), Client(port, "collector", "collector-secret")
    listener.listen("#")
    collector.say(f"tarebook/cart-1/{topic}", b"forged")
    collector.say("tarebook/cart-1/recordings/ask", b"{}")
    assert listener.heard.get(timeout=WAIT_S) == ("tarebook/cart-1/recordings/ask", b"{}")
    listener.close()
    collector.close()


def test_sessions_and_their_files_are_for_those_who_gather(port):
    cart = Client(port, "tarebook", "cart-secret")
    viewer, collector = Client(port, "viewer", "viewer-secret"), Client(port, "collector", "collector-secret")
    for client in (viewer, collector):
        client.listen("tarebook/#")
    viewer.say("tarebook/cart-1/recordings/ask", b"{}")
    for topic in ("recording/s-1", "recording/s-1/0", "now", "recordings"):
        cart.say(f"tarebook/cart-1/{topic}", b"x")
    assert [viewer.heard.get(timeout=WAIT_S)[0].rpartition("/")[2] for _ in range(2)] == ["now", "recordings"]
    got = [collector.heard.get(timeout=WAIT_S)[0].split("/", 2)[2] for _ in range(3)]
    assert got == ["recording/s-1", "recording/s-1/0", "recordings"]
    for client in (cart, viewer, collector):
        client.close()


@pytest.fixture
def handed_out(port, tmp_path):
    """A cart with a closed session, on that broker as a cart is."""
    store = Store.open(tmp_path / "cart" / "tarebook.db")
    add_fill(store, "cart-1")
    link = handing_out(settings(port, "tarebook", tmp_path), "cart-1", SessionShelf(store.path, "cart-1"))
    link.start()
    yield
    link.stop()
    store.close()


def settings(port: int, name: str, folder: Path) -> BrokerSettings:
    (folder / name).write_text(PASSWORDS[name] + "\n")
    return BrokerSettings("127.0.0.1", port, name, str(folder / name))


def collect(port: int, name: str, folder: Path) -> int:
    user = settings(port, name, folder)
    enter = ["--username", name, "--password-file", user.password_file]
    return main(["collect", "--broker", f"{user.host}:{user.port}", *enter, "--into", str(folder / "all")])


def test_the_collector_gathers(port, handed_out, tmp_path, capsys):
    assert collect(port, "collector", tmp_path) == 0
    assert capsys.readouterr().out.split()[:4] == ["cart-1", "1", "taken", "in,"]
    assert len(list((tmp_path / "all").glob("sessions/**/*.parquet"))) == 1


def test_a_viewer_is_told_that_it_may_not_gather(port, handed_out, tmp_path, capsys):
    assert collect(port, "viewer", tmp_path) == 2
    (complaint,) = capsys.readouterr().err.splitlines()
    assert "tarebook/+/recordings/ask" in complaint and f"127.0.0.1:{port}" in complaint
