"""Many sessions: control chart, stop lag, vehicles that come back, time per stage."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.session.control_chart import D2, D4, E2, control_chart
from logger.session.shop_review import shop_review, stage_spans
from logger.session.stop_lag import learned_lag_s


def test_the_constants_are_those_of_the_standard():
    """ISO 7870-2: d2 = 1.128 for n = 2, 3 / d2 = 2.660; D4 = 3.267 = 1 + 3 d3 / d2 with d3 = 0.853."""
    assert pytest.approx(3 / D2, abs=5e-4) == E2 and pytest.approx(1 + 3 * 0.853 / D2, abs=2e-3) == D4


def test_a_published_chart():
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (values from memory): ten flow rates of batches."""
    chart = control_chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    assert chart.mean == pytest.approx(50.81) and chart.mean_range == pytest.approx(1.8778, abs=1e-4)
    assert chart.upper == pytest.approx(55.8041, abs=2e-3) and chart.lower == pytest.approx(45.8159, abs=2e-3)
    assert chart.outside == () and not chart.provisional


def test_a_stray_value_and_a_jump_are_outside():
    chart = control_chart([1.0, 1.2, 0.9, 1.1, 1.0, 0.9, 1.1, 1.0, 9.0, 1.0, 1.1, 0.9])
    assert 8 in chart.outside and 9 in chart.outside and 3 not in chart.outside
    assert control_chart([1.0]) is None and control_chart([1.0, 2.0]).provisional


@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=30), st.floats(-1e3, 1e3))
def test_a_chart_moves_with_its_values(values, offset):
    chart, moved = control_chart(values), control_chart([value + offset for value in values])
    assert moved.mean == pytest.approx(chart.mean + offset, abs=1e-6)
    assert moved.upper - moved.lower == pytest.approx(chart.upper - chart.lower, abs=1e-6)


def test_the_lag_is_learned_past_slips():
    lag = learned_lag_s([1.8, 2.0, 2.2, 2.0, 55.0, 1.9, -3.0, 14.0, 2.1])
    assert lag.lag_s == pytest.approx(2.0) and lag.spread_s < 0.4 and lag.fills == 6
    assert learned_lag_s([2.0, 2.0, 60.0, -1.0]) is None


def test_the_newest_fills_count():
    assert learned_lag_s([4.0] * 100 + [1.5] * 30).lag_s == 1.5


def session(k: int, vehicle: str, started: str, delivered: float = 500.0, recovered: float | None = None) -> tuple:
    findings = {
        "charge": {"delivered_g": delivered, "target_g": 500.0, "uncertainty_g": 4.0, "stop_alert_t_s": 300.0},
        "recovered": {"mass_g": recovered, "uncertainty_g": 3.0},
        "evacuation": {"lowest_pa": 20.0},
        "job": {"technician": "A" if k % 2 else "B"},
        "stages": [
            {"stage": "evacuation", "t_s": 10.0},
            {"stage": "charging", "t_s": 110.0},
            {"stage": "closed", "t_s": 400.0},
        ],
        "duration_s": 405.0,
        "review": [{"criterion": "no danger", "outcome": "pass"}],
        "alerts": [],
    }
    findings["charge"]["flow_ended_t_s"] = 301.5 + 0.1 * (k % 3)
    return {"session_id": f"s{k}", "started_utc": started, "vehicle": {"registration": vehicle}}, findings


def test_a_vehicle_that_comes_back_has_a_leak_rate():
    """500 g in, 440 g out 365.25 days later: 60 g/year; uncertainties in quadrature, 15 g for what stays inside."""
    back = session(2, "ab 1", "2025-03-01T18:00:00Z", recovered=440.0)
    found = shop_review([back, session(1, "AB1", "2024-03-01T12:00:00Z"), session(0, "CD 2", "2024-02-01T12:00:00Z")])
    (vehicle,) = found["repeat_vehicles"]
    (loss,) = vehicle["losses"]
    assert vehicle["session_ids"] == ["s1", "s2"] and loss["g_per_year"] == pytest.approx(60.0, abs=0.01)
    assert loss["uncertainty_g_per_year"] == pytest.approx((4**2 + 3**2 + 15**2) ** 0.5, abs=0.01)


def test_what_is_missing_says_so():
    found = shop_review([session(1, "AB1", "2024-03-02T12:00:00Z"), session(0, "AB1", None)])
    assert found["repeat_vehicles"][0]["losses"][0]["g_per_year"] is None
    assert found["stop_lag"]["A"]["lag_s"] is None and found["stop_lag"]["A"]["why"]
    assert shop_review([])["charge_error"] is None


def test_the_review_of_a_shop():
    found = shop_review([session(k, "", f"2024-03-{30 - k:02}T12:00:00Z", 500.0 + k % 4) for k in range(24)])
    assert found["sessions"] == 24 and found["charge_error"]["session_ids"][0] == "s23"
    assert found["stop_lag"]["A"]["lag_s"] == pytest.approx(1.6) and found["stop_lag"]["B"]["fills"] == 12
    assert found["stages"]["evacuation"] == {
        "sessions": 24,
        "median_s": 100.0,
        "lower_quartile_s": 100.0,
        "upper_quartile_s": 100.0,
    }
    assert found["criteria"] == {"no danger": {"pass": 24}} and found["repeat_vehicles"] == []
    json.dumps(found, allow_nan=False)


def test_stages_last_until_the_next_one():
    stages = [{"stage": "charging", "t_s": 10.0}, {"stage": "performance", "t_s": 30.0}]
    assert stage_spans({"stages": stages, "duration_s": 90.0}) == [("charging", 20.0), ("performance", 60.0)]
