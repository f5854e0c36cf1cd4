"""What people add to the record beside the readings: job notes, photos, decisions, containers, whole recordings."""

from __future__ import annotations

import json
import urllib.request

import numpy as np
import pytest
from bench_cart import SETUP, BenchCart, until

from firmware_bridge.blocks import Block
from logger.cli import main
from logger.daemon import Daemon
from logger.measure.marks import Mark
from logger.paths import store_path
from logger.record.containers import ledger
from logger.record.recording import Recording, write_recording
from logger.record.rows import Rows
from logger.record.store import Store
from logger.record_desk import JobRefusedError, RecordDesk
from logger.replay import replay
from logger.wallclock import WallClock

CHANNELS = {"scale": {"unit": "g", "rate_hz": 10.0}}
VIN = "1M8GDM9AXKP042788"
"""A worked example of the check digit that is found in print: X at place 9."""
PNG = b"\x89PNG\r\n\x1a\n" + bytes(40)


def session(session_id: str) -> dict:
    known = {"format": "tarebook-recording", "version": 1, "cart_id": "c", "started_utc": None, "channels": CHANNELS}
    return {**known, "session_id": session_id, **SETUP}


@pytest.fixture
def store(tmp_path):
    made = Store.open(store_path(tmp_path / "data"))
    known = {name: {**channel, "points": None} for name, channel in CHANNELS.items()}
    for session_id in ("closed", "open"):
        made.create_session(session(session_id), known, None, {})
        made.append(session_id, [Block("scale", np.arange(30.0), np.full(30, 5000.0), None)])
        if session_id == "closed":
            made.close_session("closed")
            made.set_findings("closed", replay(made.reader().recording("closed")))
    yield made
    made.close()


@pytest.fixture
def told():
    return []


@pytest.fixture
def desk(store, told):
    return RecordDesk(store, WallClock(), lambda mark: told.append(mark) or 1.0)


def test_notes_of_a_closed_session_are_found_judged_and_replayed(desk, store, told):
    desk.note_job("closed", {"vin": VIN.lower(), "technician": "A. Someone", "odometer_km": 90000})
    desk.note_job("closed", {"odometer_km": None, "certificate": "609-1"})
    reader = store.reader()
    job = reader.findings("closed")["job"]
    assert job == {"vin": VIN, "technician": "A. Someone", "certificate": "609-1"}
    on_record = next(r for r in reader.findings("closed")["review"] if r["criterion"] == "no danger")
    assert on_record["outcome"] == "pass"
    assert replay(reader.recording("closed"))["job"] == job
    assert [row["session_id"] for row in reader.sessions(search=VIN)] == ["closed"]
    assert told == []


def test_notes_of_the_open_session_go_through_the_pipeline(desk, told):
    desk.note_job("open", {"dye_ml": 7.0})
    assert told == [{"mark": "note", "detail": {"job": {"dye_ml": 7.0}}}]


def test_every_wrong_key_is_named_and_nothing_is_kept(desk, store, told):
    with pytest.raises(JobRefusedError) as refused:
        desk.note_job("closed", {"vin": VIN.replace("X", "1"), "odometer_km": -1, "technician": "B"})
    assert set(refused.value.fields) == {"vin", "odometer_km"}
    assert "should be X" in refused.value.fields["vin"] and "\n" not in str(refused.value)
    assert "job" not in store.reader().findings("closed") or store.reader().findings("closed")["job"] == {}


def test_what_is_signed_off_is_not_changed_until_it_is_returned(desk, store):
    desk.decide("closed", "signed", "C. Reviewer", "")
    for change in (
        lambda: desk.note_job("closed", {"notes": "late"}),
        lambda: desk.keep_photo("closed", "placard", "image/png", PNG),
    ):
        with pytest.raises(ValueError, match="signed off"):
            change()
    desk.decide("closed", "returned", "C. Reviewer", "the odometer is missing")
    desk.note_job("closed", {"odometer_km": 1.0})
    number = desk.keep_photo("closed", "placard", "image/png", PNG)
    assert store.reader().attachment("closed", number) == ("image/png", PNG)


def test_containers_go_through_the_ledger(desk, store):
    desk.add_container("R-7", "recovery_cylinder", "R-134a", tare_g=6200.0, start_g=900.0)
    desk.correct_container("R-7", 950.0, "weighed")
    desk.send_container("R-7", 400.0, "Reclaim yard", "1 Example Road")
    (held,) = ledger(store.reader())
    assert held["left_g"] == pytest.approx(550.0) and held["sent_g"] == pytest.approx(400.0)
    with pytest.raises(ValueError, match="R/8"):
        desk.add_container("R/8", "can", "R-134a")


@pytest.fixture
def daemon(tmp_path):
    cart = BenchCart(tmp_path / "cart")
    running = Daemon(cart.cart(), tmp_path / "data", clock=cart.clock, http="127.0.0.1:0", open_setup=SETUP)
    running.start()
    yield running
    running.stop()
    cart.stop()


def sent(daemon, path: str, body: bytes, media: str) -> dict:
    token = daemon.port.pairing.exchange(daemon.port.pairing.code())
    headers = {"Authorization": f"Bearer {token}", "Content-Type": media}
    request = urllib.request.Request(daemon.url + path, body, headers)
    with urllib.request.urlopen(request, timeout=60) as answer:
        return json.load(answer)


def test_a_recording_is_taken_in_while_a_session_goes_on(daemon, tmp_path, capsys):
    path = tmp_path / "r.zip"
    t_s = np.arange(600) / 10
    rows = Rows(t_s, np.zeros(600, np.uint8), np.full(600, 5000.0))
    write_recording(Recording(session("sent"), rows, [Mark(1.0, "note", {"text": "x"})]), path)
    for _ in range(2):
        assert sent(daemon, "api/recordings", path.read_bytes(), "application/zip") == {"session_id": "sent"}
    open_id = daemon.port.now()["session_id"]
    ids = [row["session_id"] for row in daemon.port.store.sessions()]
    assert sorted(ids) == sorted([open_id, "sent"]) and daemon.port.store.findings("sent")["session_id"] == "sent"
    before = until(lambda: daemon.port.store.session(open_id)["duration_s"])
    until(lambda: daemon.port.store.session(open_id)["duration_s"] > before)
    assert main(["import", str(path), "--data", str(tmp_path / "data")]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "r.zip" in line and "/sessions" in line and "stop the logger" in line


def test_a_job_told_to_a_running_cart_is_in_its_findings(daemon):
    open_id = daemon.port.now()["session_id"]
    daemon.port.desk.note_job(open_id, {"vin": VIN, "leak_verdict": "none found"})
    assert daemon.port.findings()["job"] == {"vin": VIN, "leak_verdict": "none found"}
    assert daemon.port.close_session()["job"]["vin"] == VIN
    assert daemon.port.store.session(open_id)["vehicle"]["vin"] == VIN
