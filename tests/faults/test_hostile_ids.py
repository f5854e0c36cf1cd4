"""A recording brings its own session id. One that looks like an option, a path or a formula harms nobody."""

from __future__ import annotations

import csv
import json

import pytest
from fuzzing import MARKS, READINGS, SESSION

from logger.paths import store_path
from logger.record.export import export_session
from logger.record.importing import import_recording
from logger.record.store import Store
from web.heavy import Heavy

IDS = ["--help", "-o/nowhere", "../../etc/passwd", "=cmd|' /C calc'!A0", "a\nb", "<script>"]


@pytest.fixture
def shop(tmp_path):
    """A data folder with a session of each id."""
    folder = tmp_path / "data"
    store = Store.open(store_path(folder))
    for number, session_id in enumerate(IDS):
        source = tmp_path / f"recording-{number}"
        source.mkdir()
        (source / "session.json").write_text(_session(session_id), "utf-8")
        (source / "readings.csv").write_text(READINGS, "utf-8")
        (source / "marks.csv").write_text(MARKS, "utf-8")
        import_recording(store, source)
    yield folder, store
    store.close()


def _session(session_id: str) -> str:
    return json.dumps({**SESSION, "session_id": session_id})


def test_each_leaves_as_a_recording_by_the_other_process(shop, tmp_path):
    folder, _ = shop
    for session_id in IDS[:3]:
        assert Heavy(folder).recording(session_id)[:2] == b"PK"


def test_no_cell_of_a_csv_is_a_formula(shop, tmp_path):
    _, store = shop
    for number, session_id in enumerate(IDS):
        path = tmp_path / f"{number}.csv"
        export_session(store.reader(), session_id, "csv", path)
        with path.open(newline="") as file:
            for row in csv.reader(file):
                assert not [cell for cell in row if cell[:1] in ("=", "@", "\t", "\r", "-", "+")]
