"""The store keeps what it is told, to the last bit, and says plainly what it cannot do."""

from __future__ import annotations

import sqlite3
import threading

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from store_making import ALERT, CHANNELS, SETUP, assert_holds, joined, look

from firmware_bridge.blocks import Block
from logger.measure.marks import Mark
from logger.record.backup import copy_store
from logger.record.opening import SCHEMA_VERSION
from logger.record.outbox import Outbox
from logger.record.store import Store, StoreError, StoreReader


@pytest.fixture
def store(tmp_path):
    """A store of its own, closed with the test."""
    made = Store.open(tmp_path / "data" / "tarebook.db")
    yield made
    made.close()


def begin(store: Store, **changes) -> str:
    """A session in it."""
    return store.create_session({**SETUP, **changes}, CHANNELS, "2024-06-11T08:15:00Z", {"boot": "b", "origin_s": 3.5})


def test_codes_values_and_times_come_back_bit_for_bit(store):
    session_id = begin(store)
    looks = [look(second) for second in range(150)]
    for blocks in looks:
        store.append(session_id, blocks)
        store.commit()
    assert_holds(store.reader(), session_id, looks)
    store.close_session(session_id)
    assert_holds(store.reader(), session_id, looks)
    assert store.reader().sessions()[0]["duration_s"] == max(block.t_s[-1] for block in looks[-1])


def test_what_is_not_committed_nobody_sees(store):
    session_id = begin(store)
    store.append(session_id, look(0))
    store.add_mark(session_id, Mark(0.5, "purge"))
    assert list(store.reader().batches(session_id)) == []
    store.commit()
    assert store.reader().marks(session_id) == [Mark(0.5, "purge")]


def test_an_open_session_goes_on_after_a_restart(store, tmp_path):
    session_id = begin(store)
    looks = [look(second) for second in range(100)]
    for blocks in looks[:70]:
        store.append(session_id, blocks)
        store.commit()
    store.close()
    again = Store.open(store.path)
    assert again.open_session_id() == session_id
    with pytest.raises(StoreError, match="came after one at"):
        again.append(session_id, look(3))
    for blocks in looks[70:]:
        again.append(session_id, blocks)
    again.close_session(session_id)
    assert_holds(again.reader(), session_id, looks)
    assert again.open_session_id() is None
    again.close()


def test_ids_are_made_of_cart_and_count_and_never_twice(store):
    first = begin(store)
    store.close_session(first)
    second = begin(store)
    store.close_session(second)
    assert (first, second) == ("cart-1-00001", "cart-1-00002")
    with pytest.raises(StoreError, match="cart-1-00001 is in the store already"):
        begin(store, session_id=first)


def test_two_sessions_at_once_are_refused(store):
    first = begin(store)
    with pytest.raises(StoreError, match=f"session {first} is open: close it"):
        begin(store)


def test_readings_without_an_open_session_or_channel_are_refused(store):
    with pytest.raises(StoreError, match="session x is not open"):
        store.append("x", look(0))
    session_id = begin(store)
    with pytest.raises(StoreError, match="'humidity' is not one of this session's"):
        store.append(session_id, [Block("humidity", np.array([1.0]), np.array([50.0]))])
    with pytest.raises(StoreError, match="session y is not in the store"):
        store.add_mark("y", Mark(1.0, "purge"))


def test_a_bad_setup_or_finding_is_refused_in_one_line(store):
    with pytest.raises(StoreError, match="low_g: -3 must be above 0"):
        begin(store, placard={"low_g": -3, "high_g": 5})
    session_id = begin(store)
    with pytest.raises(StoreError, match="write null"):
        store.set_findings(session_id, {"charge": {"delivered_g": float("nan")}})


def test_a_second_writer_is_refused_and_readers_are_not(store):
    with pytest.raises(StoreError, match=r"process \d+ writes to it"):
        Store.open(store.path)
    assert StoreReader(store.path).sessions() == []


def test_sessions_are_listed_newest_first_and_found_by_their_words(store):
    for started, registration in (("2024-06-11", "AB 100%"), ("2024-06-13", "CD_2"), ("2024-06-12", "EF 3")):
        session_id = store.create_session(
            {**SETUP, "vehicle": {"registration": registration}}, CHANNELS, f"{started}T08:00:00Z", {}
        )
        store.set_findings(session_id, {"duration_s": 9.0, "charge": {"delivered_g": 500.0, "within_placard": True}})
        store.close_session(session_id)
    listed = store.reader().sessions()
    assert [row["vehicle"]["registration"] for row in listed] == ["CD_2", "EF 3", "AB 100%"]
    assert listed[0]["delivered_g"] == 500.0
    assert listed[0]["target_g"] == 500.0
    assert listed[0]["within_placard"] is True
    assert listed[0]["open"] is False
    assert [row["vehicle"]["registration"] for row in store.reader().sessions(search="ab 100%")] == ["AB 100%"]
    assert [row["vehicle"]["registration"] for row in store.reader().sessions(search="_2 r-134A")] == ["CD_2"]
    assert len(store.reader().sessions(limit=2)) == 2
    assert len(list(store.reader().all_findings())) == 3


def test_a_session_says_all_about_itself(store):
    session_id = begin(store)
    store.update_session(session_id, {"technician": "T. One", "vehicle": {"registration": "XY 9"}})
    store.set_clock(session_id, "2024-06-11T09:00:00Z", {"boot": "c"})
    found = store.reader().session(session_id)
    assert found["setup"]["technician"] == "T. One"
    assert found["setup"]["order_number"] == "77-1"
    assert found["vehicle"] == {"registration": "XY 9"}
    assert found["started_utc"] == found["setup"]["started_utc"] == "2024-06-11T09:00:00Z"
    assert found["clock"] == {"boot": "c"}
    assert found["channels"]["low_side"]["points"] == [[102, 0.0], [921, 3447.4]]
    with pytest.raises(StoreError, match="channels cannot be changed"):
        store.update_session(session_id, {"channels": {}})
    with pytest.raises(StoreError, match="is not in the store"):
        store.reader().session("none")


def test_an_alert_is_one_row_however_often_it_changes(store):
    session_id = begin(store)
    store.add_alert(session_id, ALERT)
    store.add_alert(session_id, {**ALERT, "state": "acknowledged", "acknowledged_t_s": 6.0})
    store.add_alert(session_id, {**ALERT, "state": "cleared", "acknowledged_t_s": 6.0, "cleared_t_s": 8.0})
    store.commit()
    assert store.reader().alerts(session_id) == [
        {**ALERT, "state": "cleared", "acknowledged_t_s": 6.0, "cleared_t_s": 8.0}
    ]


def test_the_outbox_holds_each_alert_until_it_is_acknowledged(store):
    session_id = begin(store)
    outbox = Outbox(store)
    for seq in (1, 2, 3):
        store.add_alert(session_id, {**ALERT, "seq": seq})
    assert outbox.pending() == []
    store.commit()
    waiting = outbox.pending()
    assert [(alert["seq"], alert["session_id"], alert["cart_id"]) for _, alert in waiting] == [
        (seq, session_id, "cart-1") for seq in (1, 2, 3)
    ]
    outbox.done(waiting[1][0])
    assert [alert["seq"] for _, alert in outbox.pending()] == [1, 3]
    store.add_alert(session_id, {**ALERT, "seq": 2, "state": "cleared", "cleared_t_s": 9.0})
    store.commit()
    assert [alert["seq"] for _, alert in Outbox(store).pending()] == [1, 3]


def test_settings_are_kept(store):
    store.set_value("close_lag_s", [1.2, 1.4])
    store.close()
    again = Store.open(store.path)
    assert again.get_value("close_lag_s") == [1.2, 1.4]
    assert again.get_value("none", "default") == "default"
    assert again.reader().value("close_lag_s") == [1.2, 1.4]
    again.close()


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 150), st.floats(0, 150), st.integers(1, 300), st.sampled_from(sorted(CHANNELS)))
def test_a_chart_loses_no_peak(charted, a, b, points, channel):
    reader, session_id, looks = charted
    from_s, to_s = sorted((a, b))
    t_s, value = joined(looks, channel, "t_s"), joined(looks, channel, "value")
    want = value[(t_s >= from_s) & (t_s <= to_s) & np.isfinite(value)]
    found = reader.readings(session_id, channel, from_s, to_s, points)
    assert len(found["t_s"]) <= points
    assert len({len(column) for column in found.values()}) == 1
    if len(want):
        assert min(found["low"]) == want.min()
        assert max(found["high"]) == want.max()
        low, mean, high = (np.array(found[name]) for name in ("low", "mean", "high"))
        assert ((low <= mean + 1e-6) & (mean <= high + 1e-6)).all()
    else:
        assert found["t_s"] == []


@pytest.fixture(scope="module")
def charted(tmp_path_factory):
    """An open session of 150 s, part settled and part not."""
    store = Store.open(tmp_path_factory.mktemp("charted") / "tarebook.db")
    session_id = begin(store)
    looks = [look(second) for second in range(150)]
    for blocks in looks:
        store.append(session_id, blocks)
        store.commit()
    yield store.reader(), session_id, looks
    store.close()


def test_few_readings_are_shown_one_by_one(charted):
    reader, session_id, looks = charted
    found = reader.readings(session_id, "vent_temp", 10, 19.999, 100)
    t_s, value = joined(looks[10:20], "vent_temp", "t_s"), joined(looks[10:20], "vent_temp", "value")
    assert found == {"t_s": t_s.tolist(), "low": value.tolist(), "high": value.tolist(), "mean": value.tolist()}


def test_a_chart_of_what_is_not_there_is_one_line(charted):
    reader, session_id, _ = charted
    with pytest.raises(StoreError, match="no channel humidity: it has scale, low_side, vent_temp"):
        reader.readings(session_id, "humidity")
    with pytest.raises(StoreError, match="points is 0"):
        reader.readings(session_id, "scale", points=0)


def test_any_sqlite_tool_can_plot_it(charted):
    reader, session_id, looks = charted
    plain = sqlite3.connect(reader.path)
    rows = plain.execute(
        "SELECT t_s, unix_s, low, high, unit FROM reading_1s WHERE session_id = ? AND channel = 'scale'", (session_id,)
    ).fetchall()
    plain.close()
    values = joined([looks[30]], "scale", "value")
    row = next(row for row in rows if row[0] == 30)
    assert row == (30, 1718093700 + 30, np.nanmin(values), np.nanmax(values), "g")


def test_a_newer_store_is_refused(store):
    store.close()
    plain = sqlite3.connect(store.path)
    plain.execute("PRAGMA user_version = 99")
    plain.close()
    before = store.path.read_bytes()
    with pytest.raises(StoreError, match="newer version .schema 99.*: update this program"):
        Store.open(store.path)
    with pytest.raises(StoreError, match="newer version"):
        StoreReader(store.path).sessions()
    assert store.path.read_bytes() == before
    plain = sqlite3.connect(store.path)
    plain.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
    plain.close()


def test_another_programs_database_is_left_alone(tmp_path):
    plain = sqlite3.connect(tmp_path / "other.db")
    plain.execute("CREATE TABLE x (y)")
    plain.close()
    with pytest.raises(StoreError, match="another program's database"):
        Store.open(tmp_path / "other.db")
    (tmp_path / "text.db").write_text("hello " * 1000)
    with pytest.raises(StoreError, match="not a database"):
        Store.open(tmp_path / "text.db")


def test_a_damaged_store_is_found_at_the_start(store):
    session_id = begin(store)
    for second in range(130):
        store.append(session_id, look(second))
        store.commit()
    store.close()
    raw = bytearray(store.path.read_bytes())
    for page in range(1, len(raw) // 4096):
        raw[page * 4096 : page * 4096 + 16] = b"\xff" * 16
    store.path.write_bytes(raw)
    with pytest.raises(StoreError, match="restore the last backup"):
        Store.open(store.path)


def test_a_backup_taken_while_writing_is_whole(store, tmp_path):
    session_id = begin(store)
    looks = [look(second) for second in range(80)]
    for blocks in looks[:70]:
        store.append(session_id, blocks)
        store.commit()
    copy_store(store.path, tmp_path / "copy.db")
    store.append(session_id, looks[70])
    store.commit()
    assert_holds(StoreReader(tmp_path / "copy.db"), session_id, looks[:70])
    assert_holds(store.reader(), session_id, looks[:71])
    with pytest.raises(StoreError, match="the backup failed"):
        copy_store(store.path, tmp_path / "none" / "copy.db")


def test_reading_where_there_is_no_store_is_one_line(tmp_path):
    with pytest.raises(StoreError, match="there is no store yet"):
        StoreReader(tmp_path / "none.db").sessions()


def test_a_reader_beside_the_writer_always_sees_whole_seconds_in_order(store):
    session_id = begin(store)
    seconds = 130
    lengths, charts = [], []
    failed: list[BaseException] = []
    per_second = sum(len(block) for block in look(0))

    def read() -> None:
        reader = store.reader()
        try:
            while not lengths or lengths[-1] < seconds * per_second:
                lengths.append(len(reader.recording(session_id).rows))
                charts.append(len(reader.readings(session_id, "vent_temp", 0, 200, 60)["t_s"]))
        except BaseException as error:
            failed.append(error)

    beside = threading.Thread(target=read, daemon=True)
    beside.start()
    for second in range(seconds):
        store.append(session_id, look(second))
        store.commit()
    beside.join(30)
    assert not failed
    assert not beside.is_alive()
    assert lengths == sorted(lengths)
    assert all(length % per_second == 0 for length in lengths)
    late = [points for length, points in zip(lengths, charts, strict=False) if length > 65 * per_second]
    assert late
    assert set(late) == {60}
