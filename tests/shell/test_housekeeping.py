"""What is not well on the cart itself becomes an alert."""

from __future__ import annotations

import pytest

from logger.housekeeping import Health, conditions

WELL = Health(5000.0, "", "", True)
FULL = "disk is full: free some space"


@pytest.mark.parametrize(
    ("health", "active"),
    [
        (WELL, set()),
        (Health(10.0, "", "", True), {("storage-low", "")}),
        (Health(5000.0, FULL, FULL, True), {("storage-low", "recorder")}),
        (Health(5000.0, "", "has waited 4 s for the disk", True), {("storage-low", "disk")}),
        (Health(5000.0, "", "", False), {("clock-untrusted", "")}),
        (Health(10.0, FULL, FULL, False), {("storage-low", ""), ("storage-low", "recorder"), ("clock-untrusted", "")}),
    ],
)
def test_conditions(health, active):
    told = conditions(health, 200.0)
    assert {(signal.code, subject) for subject, signal in told if signal.active} == active
    assert len(told) == 4


def test_a_recorder_that_fails_is_a_danger_and_says_why():
    signal = next(s for subject, s in conditions(Health(5000.0, FULL, FULL, True), 200.0) if subject == "recorder")
    assert signal.severity == "danger" and "disk is full" in signal.message
