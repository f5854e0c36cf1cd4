"""Check weights, calibration and the wandering of a scale."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.calibration import CalibrationError, fit_line
from logger.measure.calibration_set import KnownPoint, calibration_from, repeatability
from logger.measure.scale_check import (
    CheckWeight,
    eccentric_hint,
    hb44_tolerance_g,
    judge_check,
    judge_history,
    oiml_mpe_g,
)
from logger.measure.scale_trend import judge_drift, slope_ci95, temperature_coefficient, warm_up

# Directive 2014/31/EU, Annex I, table 3 (the same as OIML R 76-1, table 6), on initial verification; loads in e.
MPE_TABLE = [
    ("II", 5_000, 0.5),
    ("II", 5_001, 1.0),
    ("II", 20_000, 1.0),
    ("II", 20_001, 1.5),
    ("II", 100_000, 1.5),
    ("III", 500, 0.5),
    ("III", 501, 1.0),
    ("III", 2_000, 1.0),
    ("III", 2_001, 1.5),
    ("III", 10_000, 1.5),
    ("IIII", 50, 0.5),
    ("IIII", 51, 1.0),
    ("IIII", 200, 1.0),
    ("IIII", 201, 1.5),
    ("IIII", 1_000, 1.5),
]


@pytest.mark.parametrize(("scale_class", "load_e", "mpe_e"), MPE_TABLE)
def test_permissible_errors_of_the_directive(scale_class, load_e, mpe_e):
    assert oiml_mpe_g(scale_class, 5.0, load_e * 5.0, in_service=False) == mpe_e * 5.0
    assert oiml_mpe_g(scale_class, 5.0, load_e * 5.0) == 2 * mpe_e * 5.0


@pytest.mark.parametrize(("divisions", "tolerance"), [(500, 1), (501, 2), (2000, 2), (2001, 3), (4000, 3), (4001, 5)])
def test_maintenance_tolerances_of_handbook_44(divisions, tolerance):
    """NIST Handbook 44, section 2.20, table 6, class III; recalled, not read again in its text."""
    assert hb44_tolerance_g(2.0, divisions * 2.0) == tolerance * 2.0
    assert hb44_tolerance_g(2.0, divisions * 2.0, acceptance=True) == tolerance


@pytest.mark.parametrize(("scale_class", "e_g", "load_g"), [("III", 1, 10_001), ("V", 1, 10), ("III", 0, 10)])
def test_what_the_table_does_not_cover(scale_class, e_g, load_g):
    with pytest.raises(ValueError):
        oiml_mpe_g(scale_class, e_g, load_g)


@pytest.mark.parametrize(("shown", "outcome"), [(2000.9, "pass"), (1998.5, "marginal"), (2002.1, "fail")])
def test_a_check_weight_is_judged_by_its_class(shown, outcome):
    verdict = judge_check(CheckWeight(0, 2000, shown), "III", 1.0)
    assert verdict.outcome == outcome and verdict.limit_g == 2.0


def test_history_keeps_its_order():
    checks = [CheckWeight(0, 2000, 2000), CheckWeight(9, 2000, 2009)]
    assert [v.outcome for v in judge_history(checks, "III", 1.0)] == ["pass", "fail"]


def test_drift_is_called_before_the_limit_is_reached():
    steady = [CheckWeight(day, 2000, 2000 + 0.1 * (-1) ** day) for day in range(8)]
    assert judge_drift(steady, "III", 1.0).code is None
    wandering = [CheckWeight(day, 2000, 2000 + 0.1 * day + 0.02 * (-1) ** day) for day in range(8)]
    verdict = judge_drift(wandering, "III", 1.0)
    assert verdict.code == "scale-drift"
    assert verdict.g_per_day == pytest.approx(0.1, abs=0.01)
    assert verdict.days_to_limit == pytest.approx(13, abs=1.5)
    assert judge_drift([CheckWeight(0, 2000, 2004)], "III", 1.0).code == "scale-drift"
    assert judge_drift([CheckWeight(0, 2000, 2001)], "III", 1.0).code is None
    slow = [CheckWeight(day * 30, 2000, 2000 + 0.02 * day + 0.001 * (-1) ** day) for day in range(8)]
    assert judge_drift(slow, "III", 1.0).code is None


def test_drift_back_towards_zero_is_not_yet_at_the_limit():
    checks = [CheckWeight(day, 2000, 2001.5 - 0.1 * day + 0.01 * (-1) ** day) for day in range(6)]
    assert judge_drift(checks, "III", 1.0).days_to_limit == pytest.approx(30, abs=2)


def test_a_load_at_the_corner():
    good = eccentric_hint({"middle": 5000.0, "left": 5000.4, "right": 4999.7}, "III", 1.0)
    assert abs(good.spread_g) <= good.limit_g and "within" in good.message
    bad = eccentric_hint({"middle": 5000.0, "left": 5000.4, "right": 4990.0}, "III", 1.0)
    assert bad.worst == "right" and bad.spread_g == pytest.approx(-10) and "middle" in bad.message
    with pytest.raises(ValueError, match="two other places"):
        eccentric_hint({"middle": 5000.0}, "III", 1.0)


def test_trend_agrees_with_scipy():
    from scipy import stats

    rng = np.random.default_rng(4)
    for n in (4, 12, 40):
        x = np.sort(rng.uniform(0, 30, n))
        y = 3 + 0.2 * x + rng.normal(0, 0.5, n)
        line, reference = fit_line(x, y, centre=0.0), stats.linregress(x, y)
        assert line.slope == pytest.approx(reference.slope)
        assert line.value_at_centre == pytest.approx(reference.intercept)
        assert slope_ci95(line, n) == pytest.approx(reference.stderr * stats.t.ppf(0.975, n - 2), rel=2e-4)


def test_temperature_coefficient_of_a_zero():
    temp = np.linspace(12, 31, 9)
    line = temperature_coefficient(temp, 0.35 * (temp - 20))
    assert line.slope == pytest.approx(0.35) and line.value_at_centre == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(ValueError, match="3 K"):
        temperature_coefficient([20, 20.5, 21], [0, 0, 0])


def test_warm_up_time():
    t = np.linspace(0, 3600, 61)
    found = warm_up(t, 5.0 - 4.0 * np.exp(-t / 600), limit_g=0.5)
    assert found.tau_s == pytest.approx(600, rel=0.03)
    assert found.final_g == pytest.approx(5.0, abs=0.05)
    assert found.ready_s == pytest.approx(600 * math.log(8), rel=0.05)
    assert warm_up(t, np.zeros_like(t), limit_g=0.5).ready_s == 0


def test_a_line_through_three_weights_with_its_residuals():
    points = [KnownPoint(0, 8_400, 20, 40), KnownPoint(2000, 428_420, 20, 40), KnownPoint(5000, 1_058_370, 20, 40)]
    fit = calibration_from(points, limit=2.0)
    slope, offset = np.polyfit([p.code for p in points], [p.value for p in points], 1)
    assert (fit.slope, fit.intercept) == pytest.approx((slope, offset), rel=1e-9)
    assert max(map(abs, fit.residuals)) < 0.3
    assert repeatability(points, fit) == pytest.approx(slope * 20 / math.sqrt(40))


def test_two_points_leave_no_residual_to_judge_by():
    fit = calibration_from([KnownPoint(0, 0), KnownPoint(2000, 420_000)], limit=2.0)
    assert fit.u_slope is None and fit.residuals == pytest.approx((0, 0), abs=1e-9)


@pytest.mark.parametrize(
    ("points", "why"),
    [
        ([KnownPoint(0, 0)], "too few"),
        ([KnownPoint(0, 0), KnownPoint(0, 5000)], "another value"),
        ([KnownPoint(0, 420_000), KnownPoint(2000, 0)], "swap the sensor's two signal wires"),
        (
            [KnownPoint(0, 0), KnownPoint(2000, 800), KnownPoint(1000, 900), KnownPoint(3000, 1200)],
            "between 1000 and 2000",
        ),
        ([KnownPoint(0, 0), KnownPoint(2000, 420_000), KnownPoint(5000, 1_000_000)], "straight line"),
        ([KnownPoint(0, 1000, 30), KnownPoint(2000, 1010, 30)], "its own noise"),
        ([KnownPoint(0, 0), KnownPoint(float("nan"), 10)], "finite"),
    ],
)
def test_a_bad_set_is_refused_and_the_reason_told(points, why):
    with pytest.raises(CalibrationError, match=why):
        calibration_from(points, limit=2.0)


@given(st.floats(1e-4, 10), st.floats(-1e4, 1e4), st.lists(st.integers(0, 10_000), min_size=2, max_size=6, unique=True))
def test_an_exact_line_is_found_again(slope, offset, values):
    fit = calibration_from([KnownPoint(v, (v - offset) / slope) for v in values], limit=0.1)
    assert fit.slope == pytest.approx(slope, rel=1e-6)
