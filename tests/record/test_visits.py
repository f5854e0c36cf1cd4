"""Earlier visits out of the store: only earlier ones, and the same as long as those stay."""

from __future__ import annotations

import pytest

from logger.measure.marks import Mark
from logger.record.importing import add_recording
from logger.record.recording import Recording
from logger.record.report import report
from logger.record.store import Store
from logger.record.visits import before_now, before_session
from logger.replay import replay

CHANNELS = {"scale": {"unit": "g", "rate_hz": 10.0}}


@pytest.fixture
def store(tmp_path):
    made = Store.open(tmp_path / "tarebook.db")
    yield made
    made.close()


def add(store, session_id: str, day: str | None, vehicle: dict | None = None, job: dict | None = None) -> None:
    started = {"started_utc": f"{day}T12:00:00Z"} if day else {}
    session = {"session_id": session_id, "cart_id": "c", "refrigerant": "R-134a", "channels": CHANNELS, **started}
    marks = [Mark(1.0, "note", {"job": job})] if job else []
    recording = Recording({**session, "vehicle": vehicle or {}}, marks=marks)
    add_recording(store, recording, replay(recording))


def ids(store, session_id: str) -> list[str]:
    reader = store.reader()
    session = reader.session(session_id)
    return [v["session_id"] for v in before_session(reader, session, reader.findings(session_id))["before"]["visits"]]


def test_only_what_came_earlier_counts_by_vin_or_registration(store):
    add(store, "third", "2024-05-01", {"registration": "ab 1"}, {"vin": "1M8GDM9AXKP042788"})
    add(store, "first", "2024-03-01", {"registration": "AB1"})
    add(store, "second", "2024-04-01", {"vin": "1M8GDM9AXKP042788"})
    add(store, "stranger", "2024-04-02", {"registration": "AB 12"})
    add(store, "undated", None, {"registration": "AB 1"})
    assert ids(store, "third") == ["second", "first"]
    assert ids(store, "second") == [] and ids(store, "first") == []
    assert ids(store, "undated") == ["third", "first"]
    named = before_now(store.reader(), {"registration": "AB 1"}, "2024-06-01T12:00:00Z")["before"]
    assert [v["session_id"] for v in named["visits"]] == ["third", "first", "undated"]
    assert named["visits"][0]["days_before"] == 31.0


@pytest.mark.parametrize("form", [".pdf", ".html"])
def test_a_report_stays_as_it_is_when_the_vehicle_comes_again(store, form):
    add(store, "one", "2024-03-01", {"registration": "AB 1"})
    add(store, "two", "2024-04-01", {"registration": "AB 1"})
    was = report(store.reader(), "two", form)
    add(store, "three", "2024-05-01", {"registration": "AB 1"})
    add(store, "undated", None, {"registration": "AB 1"})
    assert report(store.reader(), "two", form) == was
    assert form == ".pdf" or b"Here before:</b> Here before once, last on 2024-03-01" in was
