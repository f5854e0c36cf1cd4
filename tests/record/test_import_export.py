"""Recordings go into the store whole or not at all, and out of it for other programs; those are asked what they see."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import sys

import duckdb
import numpy as np
import pytest
from store_making import ALERT, CHANNELS, SETUP, joined, look

from logger.measure.marks import Mark
from logger.record.export import ExportError, export_session, harmless
from logger.record.importing import add_recording, import_recording
from logger.record.recorded import Recording
from logger.record.recording import RecordingError, read_recording, write_recording
from logger.record.rows import Rows
from logger.record.store import Store, StoreError


@pytest.fixture
def store(tmp_path):
    """A store of its own, closed with the test."""
    made = Store.open(tmp_path / "tarebook.db")
    yield made
    made.close()


@pytest.fixture
def recorded(store):
    """A session recorded here, with marks, an alert and findings; its id and its looks."""
    session_id = store.create_session(SETUP, CHANNELS, "2024-06-11T08:15:00Z", {})
    looks = [look(second) for second in range(75)]
    for blocks in looks:
        store.append(session_id, blocks)
        store.commit()
    store.add_mark(session_id, Mark(3.5, "note", {"text": "=1+1"}))
    store.add_alert(session_id, {**ALERT, "message": "=HYPERLINK(1)"})
    store.set_findings(session_id, {"duration_s": 75.0, "charge": {"delivered_g": 499.0}})
    store.close_session(session_id)
    return session_id, looks


def contents(store: Store) -> list:
    """Every row of every table."""
    names = [row["name"] for row in store.reader().rows("SELECT name FROM sqlite_master WHERE type = 'table'")]
    return [(name, [tuple(row) for row in store.reader().rows(f"SELECT * FROM {name}")]) for name in names]


def outside(store: Store, statement: str) -> None:
    """Run a statement as another program would."""
    plain = sqlite3.connect(store.path)
    plain.execute(statement)
    plain.close()


def equal(a: Recording, b: Recording) -> bool:
    """The same session, readings and marks."""
    columns = [np.array_equal(getattr(a.rows, n), getattr(b.rows, n), equal_nan=True) for n in ("t_s", "value")]
    return (
        a.session == b.session
        and a.marks == b.marks
        and all(columns)
        and bool((a.rows.channel == b.rows.channel).all())
    )


def test_every_example_is_imported_whole_and_a_second_time_changes_nothing(store, recordings):
    sources = sorted(recordings.glob("*.zip"))
    assert all(import_recording(store, source)[1] for source in sources)
    before = contents(store)
    assert not any(import_recording(store, source)[1] for source in sources)
    assert contents(store) == before
    for source in sources:
        original = read_recording(source)
        assert equal(store.reader().recording(original.session_id), original)
        found = store.reader().session(original.session_id)
        assert found["imported"]
        assert not found["open"]
        assert found["duration_s"] >= original.rows.t_s[-1]


def test_a_bad_recording_leaves_the_store_as_it_was(store, recordings, tmp_path):
    whole = (recordings / "backflow.zip").read_bytes()
    (tmp_path / "cut.zip").write_bytes(whole[: len(whole) // 2])
    before = contents(store)
    with pytest.raises(RecordingError, match="damaged or cut short"):
        import_recording(store, tmp_path / "cut.zip")
    assert contents(store) == before
    assert import_recording(store, io.BytesIO(whole))[1]


def test_a_write_that_fails_half_way_leaves_the_store_as_it_was(store, recorded):
    session_id, _ = recorded
    recording = store.reader().recording(session_id)
    other = Recording({**recording.session, "session_id": "other"}, recording.rows, recording.marks)
    before = contents(store)
    outside(store, "CREATE TRIGGER stop BEFORE INSERT ON mark BEGIN SELECT RAISE(ABORT, 'no more'); END")
    with pytest.raises(StoreError, match="no more"):
        add_recording(store, other)
    assert contents(store) == before
    outside(store, "DROP TRIGGER stop")
    assert add_recording(store, other) == ("other", True)


def test_findings_come_in_together_with_their_session(store, recordings):
    findings = {"duration_s": 841.8, "charge": {"delivered_g": 700.0, "within_placard": False}}
    session_id, _ = import_recording(store, recordings / "backflow.zip", findings)
    assert store.reader().findings(session_id) == findings
    assert store.reader().sessions()[0]["within_placard"] is False


def test_another_session_of_the_same_id_is_refused(store, recorded):
    session_id, _ = recorded
    recording = store.reader().recording(session_id)
    assert add_recording(store, recording) == (session_id, False)
    with pytest.raises(StoreError, match="with other content"):
        add_recording(store, Recording(recording.session, recording.rows[:-1], recording.marks))


def test_an_import_beside_an_open_session_leaves_that_open(store, recordings):
    session_id = store.create_session(SETUP, CHANNELS, None, {})
    store.append(session_id, look(0))
    import_recording(store, recordings / "backflow.zip")
    store.append(session_id, look(1))
    store.close_session(session_id)
    assert len(store.reader().recording(session_id).rows) == sum(len(b) for k in (0, 1) for b in look(k))


def test_a_session_without_readings_is_kept(store, tmp_path):
    session = {**SETUP, "format": "tarebook-recording", "version": 1, "session_id": "empty", "started_utc": None}
    plain = {name: {"unit": c["unit"], "rate_hz": c["rate_hz"]} for name, c in CHANNELS.items()}
    write_recording(Recording({**session, "channels": plain}, marks=[Mark(4.0, "purge")]), tmp_path / "empty.zip")
    assert import_recording(store, tmp_path / "empty.zip") == ("empty", True)
    assert list(store.reader().batches("empty")) == [Mark(4.0, "purge")]
    assert store.reader().readings("empty", "scale")["t_s"] == []


def test_a_session_recorded_here_goes_out_as_a_recording_and_comes_in_elsewhere(store, recorded, tmp_path):
    session_id, _ = recorded
    export_session(store.reader(), session_id, "recording", tmp_path / "out.zip")
    original = store.reader().recording(session_id)
    assert equal(read_recording(tmp_path / "out.zip"), original)
    elsewhere = Store.open(tmp_path / "elsewhere.db")
    import_recording(elsewhere, tmp_path / "out.zip")
    assert equal(elsewhere.reader().recording(session_id), original)
    elsewhere.close()


def test_equal_times_keep_their_order_through_the_store(store):
    session = {**SETUP, "format": "tarebook-recording", "version": 1, "session_id": "ties", "started_utc": None}
    plain = {name: {"unit": c["unit"], "rate_hz": c["rate_hz"]} for name, c in CHANNELS.items()}
    channel = np.array([2, 0, 1, 1, 0, 2, 0], np.uint8)
    rows = Rows(np.array([1.0, 1.0, 1.0, 2.0, 2.0, 2.0, 2.5]), channel, np.arange(7.0))
    add_recording(store, Recording({**session, "channels": plain}, rows))
    assert store.reader().recording("ties").rows.channel.tolist() == channel.tolist()


def test_csv_holds_all_and_nothing_a_spreadsheet_would_run(store, recorded, tmp_path):
    session_id, looks = recorded
    export_session(store.reader(), session_id, "csv", tmp_path / "out.csv")
    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text))
    scale = [row for row in rows if row["name"] == "scale"]
    assert [float(row["value"] or "nan") for row in scale] == pytest.approx(
        joined(looks, "scale", "value"), nan_ok=True
    )
    assert [float(row["t_s"]) for row in rows] == sorted(float(row["t_s"]) for row in rows)
    assert {row["unit"] for row in scale} == {"g"}
    assert scale[0]["time_utc"].startswith("2024-06-11T08:15:00.000")
    note, alert = (next(row for row in rows if row["kind"] == kind) for kind in ("mark", "alert"))
    assert json.loads(note["detail"]) == {"text": "=1+1"}
    assert alert["detail"] == "'=HYPERLINK(1)"
    assert all(not cell.startswith(("=", "@", "\t")) for row in rows for cell in row.values())
    for text in ("=1", "+1", "-1", "@x", "\tx", "\rx"):
        assert harmless(text) == "'" + text


def test_json_lines_hold_all(store, recorded, tmp_path):
    session_id, looks = recorded
    export_session(store.reader(), session_id, "jsonl", tmp_path / "out.jsonl")
    lines = [json.loads(line) for line in (tmp_path / "out.jsonl").read_text(encoding="utf-8").splitlines()]
    assert lines[0]["setup"]["order_number"] == "77-1"
    assert lines[-1]["findings"]["charge"]["delivered_g"] == 499.0
    assert [line["value"] for line in lines if line.get("name") == "vent_temp"] == joined(
        looks, "vent_temp", "value"
    ).tolist()
    assert [line["name"] for line in lines if line["kind"] in ("mark", "alert")] == ["note", "stop-charging"]


def test_parquet_is_read_by_another_engine(store, recorded, recordings, tmp_path):
    session_id, looks = recorded
    other, _ = import_recording(store, recordings / "backflow.zip")
    for exported in (session_id, other, other):
        export_session(store.reader(), exported, "parquet", tmp_path / "set")
    engine = duckdb.connect()
    seen = f"read_parquet('{tmp_path}/set/readings/**/*.parquet', hive_partitioning = true)"
    wanted = {s: len(store.reader().recording(s).rows) for s in (session_id, other)}
    assert dict(engine.execute(f"SELECT session_id, count(*) FROM {seen} GROUP BY 1").fetchall()) == wanted
    parts = engine.execute(f"SELECT DISTINCT cart_id, CAST(month AS VARCHAR) FROM {seen} ORDER BY 1").fetchall()
    assert parts == [("cart-1", "2024-06"), ("cart-sim", "2024-06")]
    values = engine.execute(
        f"SELECT value, code FROM {seen} WHERE session_id = ? AND channel = 'scale' ORDER BY t_s", [session_id]
    ).fetchnumpy()
    valid = np.isfinite(joined(looks, "scale", "value"))
    assert values["value"][valid].tolist() == joined(looks, "scale", "value")[valid].tolist()
    assert np.ma.getmaskarray(values["value"]).tolist() == (~valid).tolist()
    assert values["code"].tolist() == joined(looks, "scale", "code").tolist()
    delivered = engine.execute(
        f"SELECT delivered_g FROM read_parquet('{tmp_path}/set/sessions/**/*.parquet') WHERE session_id = ?",
        [session_id],
    )
    assert delivered.fetchone() == (499.0,)


def test_parquet_without_its_library_is_one_line(store, recorded, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.delitem(sys.modules, "logger.record.export_parquet", raising=False)
    with pytest.raises(ExportError, match="parquet needs pyarrow: install it"):
        export_session(store.reader(), recorded[0], "parquet", tmp_path / "set")


def test_an_export_that_cannot_be_is_one_line_and_replaces_nothing(store, recorded, tmp_path):
    session_id, _ = recorded
    with pytest.raises(ExportError, match="format 'xml' is not known"):
        export_session(store.reader(), session_id, "xml", tmp_path / "out.xml")
    with pytest.raises(StoreError, match="session none is not in the store"):
        export_session(store.reader(), "none", "csv", tmp_path / "out.csv")
    (tmp_path / "there.csv").write_text("mine")
    for form in ("csv", "jsonl", "recording"):
        with pytest.raises(ExportError, match="something already"):
            export_session(store.reader(), session_id, form, tmp_path / "there.csv")
    assert (tmp_path / "there.csv").read_text() == "mine"
    with pytest.raises(ExportError):
        export_session(store.reader(), session_id, "csv", tmp_path / "there.csv" / "out.csv")
