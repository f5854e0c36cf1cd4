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


@pytest.fixture
def kept(recordings, data, capsys):
    """A store with one session; its id."""
    main(["import", str(recordings / "three-cans-disturbed.zip"), *data])
    return capsys.readouterr().out.split(":")[0]


def test_a_session_leaves_as_a_recording_that_replays_the_same(kept, recordings, data, tmp_path, capsys):
    assert main(["export", kept, "-o", str(tmp_path / "out.zip"), *data]) == 0
    capsys.readouterr()
    replayed = []
    for path in (recordings / "three-cans-disturbed.zip", tmp_path / "out.zip"):
        assert main(["replay", str(path), "--json"]) == 0
        replayed.append(json.loads(capsys.readouterr().out))
    assert replayed[0] == replayed[1]


@pytest.mark.parametrize("form", ["csv", "jsonl"])
def test_a_session_leaves_for_other_programs(form, kept, data, tmp_path, capsys):
    assert main(["export", kept, "--format", form, "-o", str(tmp_path / "out"), *data]) == 0
    assert (tmp_path / "out").stat().st_size > 10_000
    assert main(["export", kept, "--format", form, "-o", str(tmp_path / "out"), *data]) == 2
    assert "already" in capsys.readouterr().err


def test_a_session_is_put_on_paper(kept, data, tmp_path, capsys):
    assert main(["report", kept, "-o", str(tmp_path / "r.pdf"), *data]) == 0
    assert (tmp_path / "r.pdf").read_bytes().startswith(b"%PDF-")
    assert main(["report", kept, "-o", str(tmp_path / "r.html"), "--units", "us", *data]) == 0
    assert kept in (tmp_path / "r.html").read_text()
    assert main(["report", kept, "-o", str(tmp_path / "r.txt"), *data]) == 2
    assert "r.txt" in capsys.readouterr().err and not (tmp_path / "r.txt").exists()


def test_an_unknown_session_is_named(kept, data, capsys):
    assert main(["export", "nobody", *data]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "nobody" in line and "tarebook sessions" in line


def test_the_ledger_begins_empty(data, capsys):
    assert main(["containers", *data]) == 0
    assert "No container" in capsys.readouterr().out
    assert main(["containers", "--json", *data]) == 0
    assert json.loads(capsys.readouterr().out) == {"containers": [], "unbooked": []}


def test_the_ledger_shows_what_went_in_and_out(kept, data, tmp_path, capsys):
    from logger.paths import store_path
    from logger.record.containers import Containers
    from logger.record.store import Store

    store = Store.open(store_path(tmp_path / "data"))
    ledger = Containers(store)
    ledger.add("C-7", "refillable_cylinder", "R-134a", tare_g=6200, full_g=13_600)
    ledger.drawn("C-7", 621.0, session_id=kept)
    store.close()
    assert main(["containers", *data]) == 0
    line = capsys.readouterr().out
    assert "C-7" in line and "left 12979 g" in line and "drawn 621 g" in line


def test_a_session_is_reviewed_against_the_criteria(kept, data, capsys):
    """The recording's fill ran on to 730 g against 635 g at most."""
    assert main(["review", kept, *data]) == 0
    out = capsys.readouterr().out
    assert f"Session {kept}: fail" in out.splitlines()[0] and len(out.splitlines()) > 2
    assert out.splitlines()[1] == "Before      Not here before, as far as this record goes."
    assert main(["review", kept, "--strict", *data]) == 1
    capsys.readouterr()
    assert main(["review", kept, "--json", *data]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["before"]["visits"] == [] and told["before_why"] == ""
    assert told["overall"] == "fail" and {"criterion", "measured", "limit", "outcome"} <= set(told["review"][0])
