"""Recordings judged again, from the command line, against what an independent plant model knows of them."""

from __future__ import annotations

import json
import math
import zipfile

import pytest

from logger.cli import main
from logger.findings_text import clock, failed, findings_as_text, told
from logger.measure.marks import Mark
from logger.record.recording import Recording, read_recording
from logger.replay import replay
from logger.session.events import Event

NAMES = ("backflow", "full-session", "hold-leak", "hold-moisture", "single-cylinder", "three-cans-disturbed")


def truth_of(path) -> dict:
    with zipfile.ZipFile(path) as archive:
        name = next(name for name in archive.namelist() if name.endswith("truth.json"))
        return json.loads(archive.read(name))


def leaves(value):
    if isinstance(value, dict):
        for inner in value.values():
            yield from leaves(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from leaves(inner)
    else:
        yield value


@pytest.mark.parametrize("name", NAMES)
def test_every_recording_gives_findings_that_are_json(name, recordings, capsys):
    assert main(["replay", str(recordings / f"{name}.zip"), "--json"]) == 0
    findings = json.loads(capsys.readouterr().out, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    assert {"session_id", "refrigerant", "duration_s", "charge", "recovered", "alerts"} <= set(findings)
    assert all(math.isfinite(leaf) for leaf in leaves(findings) if isinstance(leaf, float))


@pytest.mark.parametrize(("name", "within_g"), [("single-cylinder", 10.0), ("three-cans-disturbed", 6.0)])
def test_the_charge_is_that_of_the_independent_model(name, within_g, recordings, capsys):
    path = recordings / f"{name}.zip"
    main(["replay", str(path), "--json"])
    charge, truth = json.loads(capsys.readouterr().out)["charge"], truth_of(path)["charge"]
    assert charge["delivered_g"] == pytest.approx(truth["delivered_g"], abs=within_g)
    assert abs(charge["delivered_g"] - truth["delivered_g"]) <= charge["uncertainty_g"]


def test_words_say_what_the_json_says(recordings, capsys):
    main(["replay", str(recordings / "single-cylinder.zip")])
    out = capsys.readouterr().out
    assert "Target      500.0 g (label 486 to 514 g)" in out and "outside the label" in out and "stop-charging" in out


def test_a_paced_replay_waits_in_order_and_tells_as_it_goes(recordings):
    recording = read_recording(recordings / "single-cylinder.zip")
    times: list[float] = []
    events: list[Event] = []
    findings = replay(recording, pace=times.append, tell=events.append)
    assert times == sorted(times) and len(times) > 100
    codes = [event.data["code"] for event in events if event.kind == "alert"]
    assert codes.index("approaching-target") < codes.index("stop-charging")
    assert findings == replay(recording)
    assert all("\n" not in told(event) for event in events)


def test_limits_of_a_cart_file_apply(recordings, tmp_path, capsys):
    cart = tmp_path / "cart.toml"
    cart.write_text(
        '[cart]\nid = "c"\n[board]\nport = "/dev/null"\n[channel.scale]\nsource = "board"\nfield = "w"\n'
        "points = [[0, 0], [1, 1]]\n[limits]\nhigh_side_kpa = 250\n"
    )
    path = str(recordings / "full-session.zip")
    main(["replay", path, "--config", str(cart), "--json"])
    assert "high-side-high" in {a["code"] for a in json.loads(capsys.readouterr().out)["alerts"]}
    cart.write_text(cart.read_text().replace("high_side_kpa", "high_side_kpq"))
    assert main(["replay", path, "--config", str(cart)]) == 2
    assert "high_side_kpa" in capsys.readouterr().err


@pytest.mark.parametrize("speed", ["0", "-1", "nan"])
def test_a_speed_that_is_none_is_refused(speed, recordings, capsys):
    assert main(["replay", str(recordings / "backflow.zip"), "--speed", speed]) == 2
    assert "--speed" in capsys.readouterr().err


def test_marks_alone_are_a_session_too():
    session = {"session_id": "empty", "refrigerant": "R-134a", "channels": {"scale": {"unit": "g", "rate_hz": 10}}}
    findings = replay(Recording(session, marks=[Mark(1.0, "note", {"text": "nothing was weighed"})]))
    assert findings["charge"]["delivered_g"] is None and findings["charge"]["why"]
    assert "not judged" in findings_as_text(findings)


def test_review_decides_what_strict_means():
    assert failed({"review": [{"outcome": "pass"}, {"outcome": "fail"}]})
    assert not failed({"review": [{"outcome": "marginal"}, {"outcome": "not-judged"}]}) and not failed({})


def test_session_time_reads_like_a_clock():
    assert [clock(0.4), clock(65), clock(3661)] == ["0:00", "1:05", "1:01:01"]
