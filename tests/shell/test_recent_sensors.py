"""How often a sensor speaks and how much it trembles, from what it said in the last seconds."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_bridge.blocks import Block
from logger.recent_sensors import RecentSensors


def test_noise_is_told_apart_from_a_slow_change():
    rng, sensors = np.random.default_rng(7), RecentSensors()
    for second in range(60):
        t_s = second + np.arange(20) / 20
        sensors.take([Block("low_side", t_s, 100.0 + 3.0 * t_s + rng.normal(0.0, 2.0, 20), None)])
    found = sensors.state()["low_side"]
    assert found["rate_hz"] == pytest.approx(20.0, rel=0.01)
    assert found["noise"] == pytest.approx(2.0, rel=0.15)


def test_only_the_last_seconds_count_and_invalid_readings_do_not():
    sensors = RecentSensors()
    for second in range(100):
        value = np.full(10, 5.0 if second > 70 else 1000.0 * (second % 2))
        value[3] = np.nan
        sensors.take([Block("scale", second + np.arange(10) / 10, value, None)])
    assert sensors.state()["scale"] == {"rate_hz": pytest.approx(10.0), "noise": 0.0}


def test_a_few_readings_say_nothing():
    sensors = RecentSensors()
    sensors.take(
        [
            Block("scale", np.array([0.0, 0.1]), np.array([1.0, 2.0]), None),
            Block("vacuum", np.empty(0), np.empty(0), None),
        ]
    )
    assert sensors.state() == {"scale": {"rate_hz": None, "noise": None}}
