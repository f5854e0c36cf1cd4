"""The independent recordings, weighed: stop and delivered mass against a truth that the replay never sees."""

from __future__ import annotations

import json
import zipfile

import numpy as np
import pytest

from logger.record.recording import Recording, read_recording
from logger.replay import replay

CHARGES = ("single-cylinder", "three-cans-disturbed", "full-session", "backflow")


def sensed(recordings, name: str, marks: bool = True) -> tuple[dict, dict]:
    """(findings, truth) of a recording, with or without the technician's marks."""
    path = recordings / f"{name}.zip"
    recording = read_recording(path)
    if not marks:
        recording = Recording(recording.session, recording.rows, [])
    return replay(recording), json.loads(zipfile.ZipFile(path).read("truth.json"))


@pytest.mark.parametrize("marks", [True, False], ids=["marked", "unmarked"])
@pytest.mark.parametrize("name", CHARGES)
def test_delivered_mass_covers_the_truth(recordings, name, marks):
    findings, truth = sensed(recordings, name, marks)
    charge = findings["charge"]
    assert charge["delivered_g"] == pytest.approx(truth["charge"]["delivered_g"], abs=charge["uncertainty_g"])
    assert charge["delivered_g"] == pytest.approx(truth["charge"]["delivered_g"], abs=3.0)
    assert charge["uncertainty_g"] < 5.0


@pytest.mark.parametrize("name", CHARGES)
def test_the_stop_lands_on_target(recordings, name):
    findings, truth = sensed(recordings, name)
    charge = truth["charge"]
    curve = charge["delivered_fine"]
    masses = next(column for key, column in curve.items() if key != "t_s")
    closed_s = findings["charge"]["stop_alert_t_s"] + charge["close_lag_s"]
    assert np.interp(closed_s, curve["t_s"], masses) == pytest.approx(charge["target_g"], abs=5.0)


def test_swaps_are_found_without_marks(recordings):
    findings, truth = sensed(recordings, "three-cans-disturbed", marks=False)
    found = [c for c in findings["charge"]["containers"] if c["purpose"] == "charge"]
    assert len(found) == len(truth["containers"]) == 3
    for mine, true in zip(found, truth["containers"], strict=True):
        assert mine["drawn_g"] == pytest.approx(true["drawn_g"], abs=1.5)
        assert mine["on_t_s"] == pytest.approx(true["on_t_s"], abs=2.0)


def test_recovered_mass(recordings):
    findings, truth = sensed(recordings, "full-session")
    assert findings["recovered"]["mass_g"] == pytest.approx(truth["recovered_g"], abs=2.0)


@pytest.mark.parametrize("marks", [True, False], ids=["marked", "unmarked"])
@pytest.mark.parametrize("name", (*CHARGES, "hold-leak", "hold-moisture"))
def test_alerts_that_must_and_must_not(recordings, name, marks):
    findings, truth = sensed(recordings, name, marks)
    raised = {alert["code"] for alert in findings["alerts"]}
    assert not raised & set(truth["alerts"]["must_not"])
    for group in truth["alerts"]["must"]:
        assert raised & set(group), group
