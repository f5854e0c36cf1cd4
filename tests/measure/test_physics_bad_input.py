"""Whatever the sensors say, physics goes on and its findings are plain JSON; and a nitrogen hold is corrected for T."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.measure.physics import Physics, PhysicsSetup
from logger.measure.pressure_hold import pressure_hold
from logger.measure.ticks import ScaleView, Tick

CHANNELS = {
    "scale": st.floats(-50.0, 20_000.0),
    "low_side": st.floats(-150.0, 4_000.0),
    "high_side": st.floats(-150.0, 4_000.0),
    "vacuum": st.one_of(st.just(0.0), st.just(2700.0), st.floats(-5.0, 2700.0)),
    "barometer": st.floats(0.0, 120.0),
    "ambient_temp": st.floats(-40.0, 90.0),
    "suction_temp": st.floats(-60.0, 120.0),
    "liquid_temp": st.floats(-60.0, 120.0),
    "container_temp": st.floats(-60.0, 120.0),
    "vent_temp": st.floats(-40.0, 90.0),
}
STAGES = st.sampled_from(["", "recovery", "evacuation", "vacuum_hold", "charging", "performance", "closed"])


@settings(max_examples=40, deadline=None)
@given(data=st.data(), number=st.sampled_from(["R-134a", "R-744", "", "R-999"]))
def test_any_readings_give_plain_findings(data, number):
    physics = Physics(PhysicsSetup(number, data.draw(st.sampled_from([None, 2400.0])), None, None))
    present = data.draw(st.sets(st.sampled_from(sorted(CHANNELS))))
    k = 0
    for _ in range(data.draw(st.integers(1, 6))):
        stage = data.draw(STAGES)
        values = {name: data.draw(CHANNELS[name]) for name in sorted(present)}
        for _ in range(data.draw(st.integers(1, 150))):
            k += 1
            physics.update(Tick(float(k), values, values, stage, ScaleView(), None))
    json.dumps([physics.findings(), physics.live()], allow_nan=False)


def nitrogen(fall_pa_per_s: float, warms_k: float, seconds: int = 1800) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(4)
    t_s = np.arange(float(seconds))
    temp_c = 25.0 + warms_k * t_s / seconds
    pa = (1.0e6 - fall_pa_per_s * t_s) * (temp_c + 273.15) / 298.15 + rng.normal(0.0, 300.0, seconds)
    return t_s, pa, temp_c


def test_five_kelvin_on_nitrogen():
    """1000 kPa, 25 °C, +5 K: +16.8 kPa (ideal gas), and no leak for all that."""
    t_s, pa, temp_c = nitrogen(0.0, 5.0)
    assert np.mean(pa[-60:]) - 1.0e6 == pytest.approx(16.8e3, rel=0.03)
    judged = pressure_hold(t_s, pa, temp_c, 2400.0, 2.0)
    assert judged.verdict == "tight"


def test_a_leak_under_nitrogen_is_told_with_its_rate():
    judged = pressure_hold(*nitrogen(5.0, -5.0), volume_ml=2400.0, wanted_pa_per_s=2.0)
    assert judged.verdict == "leak"
    assert judged.fall_pa_per_s == pytest.approx(5.0, rel=0.15)
    assert judged.leak_pa_m3_per_s == pytest.approx(5.0 * 2400e-6, rel=0.15)


def test_nitrogen_without_temperature_or_time_is_not_judged():
    t_s, pa, temp_c = nitrogen(5.0, 0.0)
    assert "temperature" in pressure_hold(t_s, pa, None, 2400.0, 2.0).why
    assert "minutes" in pressure_hold(t_s[:60], pa[:60], temp_c[:60], 2400.0, 2.0).why
