"""The demonstration from beginning to end, on a shorter job than its own so that it takes seconds."""

from __future__ import annotations

import re
import signal
from dataclasses import replace

import pytest

from firmware_bridge.virtual.scenario import demo_scenario
from firmware_bridge.virtual.setting import Step
from logger import demo
from logger.cli import main
from logger.paths import store_path
from logger.record.reader import StoreReader


@pytest.fixture(autouse=True)
def signals_as_they_were():
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


def short_job():
    """Evacuate a little, charge 110 g from one container, close."""
    whole = demo_scenario()
    charge = next(step for step in whole.steps if step.kind == "charge")
    charge = replace(charge, containers=charge.containers[:1], compressor_after_s=4.0, settle_s=6.0)
    steps = (Step("wait", seconds=3.0), Step("evacuate", seconds=20.0), charge, Step("close", seconds=1.0))
    vehicle = replace(whole.vehicle, content_g=0.0)
    return replace(whole, steps=steps, vehicle=vehicle, placard_g=(95.0, 125.0), target_g=110.0, disturbances=())


def test_a_session_from_the_wire_to_the_record(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(demo, "demo_scenario", short_job)
    data = ["--data", str(tmp_path / "data")]
    assert main(["demo", "--speed", "12", "--http", "127.0.0.1:0", *data]) == 0
    out = capsys.readouterr().out
    assert re.search(r"Pairing     code \d{6}", out)
    assert "http://127.0.0.1:" in out and "Kept        session demo-" in out
    reader = StoreReader(store_path(tmp_path / "data"))
    (session,) = reader.sessions()
    assert not session["open"]
    assert session["delivered_g"] == pytest.approx(110.0, abs=8.0)
    assert {"approaching-target", "stop-charging"} & {alert["code"] for alert in reader.alerts(session["session_id"])}
    assert main(["sessions", *data]) == 0
    assert session["session_id"] in capsys.readouterr().out
    assert main(["containers", *data]) == 0
    out = capsys.readouterr().out
    assert "DEMO-K1" in out and "drawn 1" in out and "not booked" not in out


@pytest.mark.parametrize("arguments", [["--speed", "0"], ["--speed", "1000"], ["--http", "nowhere"]])
def test_nonsense_is_refused_at_once(arguments, tmp_path, capsys):
    assert main(["demo", "--data", str(tmp_path), *arguments]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
