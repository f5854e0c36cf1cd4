"""As found, after the recovery, and the container's limit: what a circuit and a cylinder tell at rest."""

from __future__ import annotations

import pytest

from logger.measure.atmosphere import ambient_pressure
from logger.measure.container_limit import ContainerLimit, most_g
from logger.measure.recovery_rest import RecoveryRest
from logger.measure.saturation import saturation
from logger.measure.static_check import StaticCheck
from logger.measure.ticks import ScaleView, Tick

SEA = ambient_pressure(101.325, None)
R134A = saturation("R-134a")
SATURATED_KPA = 665.38 - 101.325
"""R-134a at 25 °C, gauge (665.38 kPa: CoolProp 8, the equation of state of Tillner-Roth and Baehr)."""


def rested(gauges, stage="recovery", then="evacuation"):
    """RecoveryRest after these low-side seconds, and ten more of the stage that follows."""
    rest = RecoveryRest()
    for k, gauge_kpa in enumerate(gauges):
        last = {} if gauge_kpa is None else {"low_side": gauge_kpa}
        rest.update(Tick(float(k), last, last, stage))
    for k in range(10):
        rest.update(Tick(float(len(gauges) + k), {"low_side": -95.0}, {"low_side": -95.0}, then))
    return rest.findings()


DRAWN = [400.0 - 7.0 * k for k in range(64)]  # down to -41 kPa


def test_a_vacuum_that_stays_for_five_minutes_is_a_recovery():
    found = rested(DRAWN + [-41.0 + 0.01 * k for k in range(400)])
    assert found["complete"] is True
    assert found["lowest_kpa"] == pytest.approx(-41.0, abs=0.5)
    assert found["waited_s"] > 300


@pytest.mark.parametrize(
    ("after", "complete", "says"),
    [
        ([-41.0 + 0.3 * k for k in range(301)], False, "recover again"),
        ([-41.0 + 0.05 * k for k in range(400)], False, "still rising"),
        ([-41.0] * 60, None, "five minutes"),
        ([], None, "left alone for"),
    ],
)
def test_what_comes_back_out_of_the_oil_is_told(after, complete, says):
    found = rested(DRAWN + after)
    assert found["complete"] is complete
    assert says in found["why"]


def test_a_second_pull_begins_the_wait_anew():
    boiled = [-41.0 + 0.5 * k for k in range(60)]
    found = rested(DRAWN + boiled + [-12.0 - 1.0 * k for k in range(40)] + [-51.0] * 350)
    assert found["complete"] is True
    assert found["lowest_kpa"] == pytest.approx(-51.0, abs=0.5)
    assert 340 <= found["waited_s"] <= 350


def test_a_circuit_never_drawn_into_a_vacuum_is_not_recovered():
    assert rested([400.0 - 2.0 * k for k in range(150)] + [102.0] * 400)["complete"] is False


def test_a_recovery_without_pressures_is_not_judged():
    found = rested([None] * 400, then="closed")
    assert (found["complete"], found["waited_s"]) == (None, None)
    assert "no pressure" in found["why"]
    assert RecoveryRest().findings() is None


def found_at_rest(gauge_kpa, temp_c=25.0, high_kpa=None, volume_ml=None, seconds=12, stage="identification"):
    check = StaticCheck(R134A, volume_ml)
    for k in range(seconds):
        last = {"low_side": gauge_kpa, "high_side": gauge_kpa if high_kpa is None else high_kpa}
        check.update(Tick(float(k), last | {"ambient_temp": temp_c}, last, stage), SEA)
    return check.findings()


@pytest.mark.parametrize(
    ("gauge_kpa", "state"),
    [
        (SATURATED_KPA, "liquid"),
        (SATURATED_KPA + 80.0, "above saturation"),
        (250.0, "vapour"),
        (2.0, "empty"),
    ],
)
def test_a_circuit_at_rest_says_what_is_in_it(gauge_kpa, state):
    found = found_at_rest(gauge_kpa)
    assert found["state"] == state
    assert found["pressure_kpa"] == pytest.approx(gauge_kpa)


def test_vapour_of_a_known_volume_has_a_mass():
    """2.5 l at 351.3 kPa and 25 °C: 15.63 g/l by CoolProp 8 (R-134a, superheated), so 39.1 g."""
    assert "about 39 g" in found_at_rest(250.0, volume_ml=2500.0)["words"]


def test_nothing_is_said_of_a_running_circuit_or_once_the_work_has_begun():
    assert found_at_rest(200.0, high_kpa=1500.0) is None
    assert found_at_rest(SATURATED_KPA, stage="recovery") is None


@pytest.mark.parametrize(
    ("refrigerant", "share"), [("R-134a", 0.979), ("R-1234yf", 0.886), ("R-12", 1.062), ("R-152a", 0.729)]
)
def test_a_container_may_hold_80_percent_of_its_volume(refrigerant, share):
    """Shares of the water capacity at 21 °C, 80 % (40 CFR 82 subpart B appendix C, 7.2), by CoolProp."""
    assert most_g(refrigerant, 10_000.0) == pytest.approx(10_000.0 * share, rel=1.5e-3)


def test_the_limit_of_a_container_that_the_facts_name():
    """21.6 kg of water capacity: 21.1 kg of R-134a at 80 %."""
    assert most_g("R-134a", 21_600.0) == pytest.approx(21_100.0, rel=0.01)
    assert most_g("R-744", 10_000.0) is None
    assert most_g("R-134a", None) is None


def filled(limit, masses, start=0, present=True):
    said = []
    for k, gross_g in enumerate(masses):
        view = ScaleView(gross_g=gross_g, present=present)
        said += [(start + k, s.code, s.active) for s in limit.update(Tick(float(start + k), {}, {}, "recovery", view))]
    return said


def test_a_container_is_told_before_and_when_it_is_full():
    limit = ContainerLimit(R134A)
    limit.connected({"label": "R-1", "tare_g": 5000.0, "water_capacity_g": 10_000.0})
    said = filled(limit, [14_000.0 + 20.0 * k for k in range(60)])
    assert [(code, active) for _, code, active in said] == [
        ("container-nearly-full", True),
        ("container-nearly-full", False),
        ("container-overfull", True),
    ]
    over_s = said[-1][0]
    assert 14_000.0 + 20.0 * over_s == pytest.approx(5000.0 + 9790.0, abs=80.0)
    assert ("container-overfull", False) in [(c, a) for _, c, a in filled(limit, [14_600.0] * 5, 60)]


def test_the_next_container_is_not_judged_by_the_limit_of_the_last():
    limit = ContainerLimit(R134A)
    limit.connected({"tare_g": 5000.0, "water_capacity_g": 1000.0})
    assert ("container-overfull", True) in [(c, a) for _, c, a in filled(limit, [6500.0] * 5)]
    filled(limit, [0.0] * 5, 5, present=False)
    assert filled(limit, [9000.0] * 10, 10) == []
    limit.connected({"label": "unknown"})
    assert filled(limit, [9000.0] * 10, 20) == []
