"""Recordings into the store and out of it, from the command line."""

from __future__ import annotations

import json
import shutil

import pytest

from logger.cli import main


@pytest.fixture
def data(tmp_path):
    return ["--data", str(tmp_path / "data")]


def sessions_in(data, capsys) -> list[dict]:
    capsys.readouterr()
    assert main(["sessions", "--json", *data]) == 0
    return json.loads(capsys.readouterr().out)["sessions"]


def test_a_recording_is_taken_in_once(recordings, data, capsys):
    path = str(recordings / "single-cylinder.zip")
    assert main(["import", path, *data]) == 0
    assert "taken in" in capsys.readouterr().out
    before = sessions_in(data, capsys)
    assert main(["import", path, *data]) == 0
    assert "nothing changed" in capsys.readouterr().out
    assert sessions_in(data, capsys) == before
    (session,) = before
    assert session["delivered_g"] == pytest.approx(620.8, abs=10) and session["within_placard"] is False
    assert main(["sessions", *data]) == 0
    assert "outside the label" in capsys.readouterr().out


def test_an_empty_store_is_no_fault(data, capsys):
    assert main(["sessions", *data]) == 0
    assert "No session" in capsys.readouterr().out
    assert sessions_in(data, capsys) == []


@pytest.mark.parametrize("fault", ["truncated", "not-a-zip", "missing"])
def test_what_is_no_recording_changes_nothing(fault, recordings, data, tmp_path, capsys):
    path = tmp_path / "r.zip"
    shutil.copy(recordings / "hold-leak.zip", path)
    if fault == "truncated":
        path.write_bytes(path.read_bytes()[:5000])
    elif fault == "not-a-zip":
        path.write_text("weight,grams\n")
    else:
        path.unlink()
    assert main(["import", str(path), *data]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "r.zip" in line
    assert sessions_in(data, capsys) == []
