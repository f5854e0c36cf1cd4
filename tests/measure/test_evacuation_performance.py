"""Evacuation, water plateau, settled performance and fault patterns from ticks; missing sensors leave a why."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from reference import published

from logger.measure import water
from logger.measure.fault_patterns import Observed, patterns
from logger.measure.physics import Physics, PhysicsSetup
from logger.measure.saturation import saturation
from logger.measure.ticks import Tick

SEA_KPA = 101.325
FULL_SCALE_PA = 2700.0


def pump_down(plateau_pa: float | None = None, ambient_c: float = 15.0, sensor: bool = True) -> Physics:
    """Ten minutes of pumping 2.4 l + 0.1 l at 0.2 l/s to 10 Pa, hanging at `plateau_pa` for four of them."""
    physics = Physics(PhysicsSetup("R-134a", 2400.0, 100.0, 0.0))
    rng = np.random.default_rng(3)
    p_pa, hung = 101_325.0, 0
    for k in range(1, 601):
        if plateau_pa and p_pa < plateau_pa and hung < 240:
            hung += 1
        else:
            p_pa = 10.0 + (p_pa - 10.0) * math.exp(-0.08)
        shown = min(round(p_pa * (1.0 + rng.normal(0.0, 0.04)), 1), FULL_SCALE_PA)
        values = {"low_side": p_pa / 1e3 - SEA_KPA, "barometer": SEA_KPA, "ambient_temp": ambient_c}
        physics.update(Tick(float(k), values, values | ({"vacuum": shown} if sensor else {}), "evacuation"))
    return physics


def test_pump_down_of_a_dry_circuit():
    found = pump_down().findings()["evacuation"]
    assert found["lowest_pa"] == pytest.approx(10.0, rel=0.06)
    assert found["pumping_speed_l_per_s"] == pytest.approx(0.2, rel=0.03)
    below = math.log((101_325 - 10) / (67 - 10)) / 0.08
    assert found["seconds_below_67_pa"] == pytest.approx(600 - below, abs=15)
    assert found["water_plateau"] is False
    assert "cannot tell" in found["needle"]
    assert len(found["curve"]) > 100


@pytest.mark.parametrize("share", [0.4, 0.85])
def test_water_boiling_off_is_seen_and_explained(share):
    boils_pa = water.saturation_pa(15.0)
    found = pump_down(plateau_pa=share * boils_pa).findings()["evacuation"]
    assert found["water_plateau"] is True
    assert found["water_plateau_pa"] == pytest.approx(share * boils_pa, rel=0.1)
    assert f"{boils_pa:.0f} Pa" in found["water_plateau_words"]


def test_a_plateau_far_below_water_is_none():
    assert pump_down(plateau_pa=60.0).findings()["evacuation"]["water_plateau"] is False


def test_without_a_deep_sensor_depth_is_not_judged():
    found = pump_down(sensor=False).findings()["evacuation"]
    assert found["lowest_pa"] is None
    assert found["seconds_below_67_pa"] is None
    assert "transducer" in found["why"]
    assert found["pumping_speed_l_per_s"] == pytest.approx(0.2, rel=0.03)


def run(seconds: int = 600, stage: str = "performance", without: tuple[str, ...] = (), **values) -> dict:
    """A system that is switched on and settles at `values`."""
    physics = Physics(PhysicsSetup("R-134a", 2400.0, 70.0, 0.0))
    at = {"low_side": 200.0, "high_side": 1000.0, "ambient_temp": 25.0, "suction_temp": 7.0, "liquid_temp": 36.0}
    at |= {"barometer": SEA_KPA, "humidity": 45.0, "vent_temp": 6.0} | values
    for k in range(1, seconds + 1):
        now = at | {"vent_temp": at["vent_temp"] + (25.0 - at["vent_temp"]) * math.exp(-k / 60.0)}
        now = {name: value for name, value in now.items() if name not in without}
        physics.update(Tick(float(k), now, now, stage, compressor_on=True))
    findings = physics.findings()
    json.dumps(findings, allow_nan=False)
    return findings["performance"]


def test_a_system_that_works():
    """Vent in the low 40s °F: common practice, no source."""
    found = run(vent_temp=5.5)
    curve = saturation("R-134a")
    assert found["settled"] is True
    assert published.COLD_VENT_F[0] <= found["vent_temp_c"] * 1.8 + 32.0 <= published.COLD_VENT_F[1]
    assert found["superheat_k"] == pytest.approx(7.0 - curve.temperature_c(301_325.0), abs=0.05)
    assert found["subcooling_k"] == pytest.approx(curve.temperature_c(1_101_325.0) - 36.0, abs=0.05)
    assert found["vent_time_constant_s"] == pytest.approx(70.0, abs=15.0)
    assert found["patterns"] == []
    assert "nothing stands out" in found["patterns_why"]
    assert "maker" in found["defers_to"]


def test_no_probes_no_superheat_and_the_reason():
    found = run(without=("suction_temp", "liquid_temp"))
    assert found["superheat_k"] is None
    assert found["subcooling_k"] is None
    assert "suction-line probe" in found["why"]


def test_at_rest_there_is_no_performance():
    physics = Physics(PhysicsSetup("R-134a"))
    for k in range(1, 300):
        values = {"low_side": 500.0, "high_side": 505.0}
        physics.update(Tick(float(k), values, values, "performance", compressor_on=True))
    assert physics.findings()["performance"] is None


def test_a_short_run_is_not_settled():
    found = run(seconds=60)
    assert found["settled"] is False
    assert "never seen settled" in found["why"]


# Textbook directions: low side, high side, superheat, subcooling, vent
FAULTS = {
    "undercharge": Observed(-12.0, 45.0, 25.0, 19.0, 22.0, 1.0, 10.0, 5.0),
    "overcharge": Observed(11.0, 66.0, 25.0, 14.0, 4.0, 20.0, 10.0, 5.0),
    "air in the system": Observed(9.0, 68.0, 25.0, 19.0, 6.0, 19.0, 200.0, 5.0),
    "poor condenser airflow": Observed(7.0, 68.0, 25.0, 18.0, 3.0, 1.5, 20.0, 5.0),
    "weak compressor": Observed(14.0, 33.0, 25.0, 20.0, 4.0, 2.0, 10.0, 5.0),
    "restriction in the liquid line": Observed(-15.0, 40.0, 25.0, 19.0, 25.0, 18.0, 10.0, 5.0),
    "expansion device stuck open": Observed(12.0, 48.0, 25.0, 18.0, 0.5, 5.0, 10.0, 5.0),
    "moisture freezing at the expansion device": Observed(-9.0, 44.0, 25.0, 19.0, 18.0, 8.0, 30.0, 150.0),
}


@pytest.mark.parametrize(("name", "observed"), FAULTS.items(), ids=list(FAULTS))
def test_textbook_faults_are_among_what_the_evidence_supports(name, observed):
    found, why = patterns(observed)
    assert why is None
    assert name in [pattern["pattern"] for pattern in found]
    mine = next(pattern for pattern in found if pattern["pattern"] == name)
    assert mine["evidence"]
    assert mine["measure_next"]


def test_the_strongest_comes_first_and_says_what_speaks_against_it():
    found, _ = patterns(FAULTS["undercharge"])
    assert found[0]["pattern"] == "undercharge"
    assert [p["weight"] for p in found] == sorted((p["weight"] for p in found), reverse=True)
    assert any("subcooling" in words for p in found[1:] for words in p["against"])


def test_patterns_need_both_pressures():
    found, why = patterns(Observed(ambient_c=25.0, vent_c=20.0))
    assert found == []
    assert "missing" in why


def test_one_odd_value_is_no_pattern():
    found, why = patterns(Observed(0.0, 45.0, 25.0, 8.0, 6.0, 1.5, 10.0, 5.0))
    assert found == []
    assert "no pattern" in why


def test_findings_of_an_empty_session_are_json():
    findings = Physics(PhysicsSetup("R-134a")).findings()
    json.dumps(findings, allow_nan=False)
    assert findings["vacuum_hold"] == []
    assert findings["evacuation"]["why"] == "no evacuation was seen"
