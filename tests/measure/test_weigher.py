"""Weighing through its public seam: frames in, stop and delivered mass out."""

from __future__ import annotations

import numpy as np
import pytest
from fills import Fill

from firmware_bridge.blocks import Block
from logger.measure.charge_findings import charge_findings, scale_events
from logger.measure.weigher import Weigher, WeigherSetup


def weigh(fill: Fill, **setup) -> tuple[Weigher, list]:
    weigher = Weigher(WeigherSetup(fill.rate_hz, **setup))
    said = []
    for frame in weigher.frames(fill.scale()):
        said += [(frame.known_t_s, signal) for signal in weigher.step(frame)]
    return weigher, said


def first(said: list, code: str) -> float | None:
    return next((t for t, s in said if s.code == code and s.active), None)


@pytest.mark.parametrize("rate_hz", [10.0, 80.0])
@pytest.mark.parametrize("flow", [0.8, 2.0, 5.0, 20.0])
def test_stop_leads_the_target_by_the_lag(rate_hz, flow):
    fill = Fill(flow_g_per_s=flow, closed_s=30.0 + 260.0 / flow, end_s=60.0 + 260.0 / flow, rate_hz=rate_hz)
    _, said = weigh(fill, target_g=200.0, close_lag_s=1.5)
    stop = first(said, "stop-charging")
    assert fill.drawn_g(stop + 1.5) - 200.0 == pytest.approx(0.0, abs=max(2.0, 0.12 * flow))
    assert first(said, "approaching-target") < stop
    assert first(said, "over-target") > stop


def test_alerts_fall_silent_once_the_flow_has_ended():
    _, said = weigh(Fill(closed_s=131.5, end_s=170.0), target_g=200.0, placard_high_g=220.0)
    ended = [s.code for _, s in said if not s.active]
    assert sorted(ended) == ["approaching-target", "stop-charging"]
    assert first(said, "over-target") is None


def test_stop_is_said_once_for_a_target():
    fill = Fill(flow_g_per_s=2.0, closed_s=140.0, end_s=200.0)
    _, said = weigh(fill, target_g=200.0)
    assert [s.code for _, s in said if s.active].count("stop-charging") == 1


def test_delivered_lies_within_its_uncertainty():
    for seed in range(5):
        fill = Fill(seed=seed, flow_g_per_s=1.7)
        weigher, _ = weigh(fill, target_g=200.0)
        charge = charge_findings(weigher)
        assert abs(charge["delivered_g"] - fill.drawn_g(1e9)) < charge["uncertainty_g"] < 5.0


TOUCHES = {
    "bump": [(90.0, 90.4, -230.0), (101.0, 101.2, 300.0)],
    "hand before": [(95.0, 104.0, 30.0)],
    "hand comes to rest as the target is crossed": [(128.4, 134.0, 45.0)],
    "hand leaves as the target is crossed": [(121.0, 128.6, 45.0)],
    "pull": [(110.0, 117.0, -35.0)],
}


@pytest.mark.parametrize("name", TOUCHES)
def test_a_touch_does_not_move_the_stop(name):
    fill = Fill(touches=TOUCHES[name], closed_s=150.0, end_s=180.0)
    weigher, said = weigh(fill, target_g=200.0, close_lag_s=1.0)
    assert fill.drawn_g(first(said, "stop-charging") + 1.0) - 200.0 == pytest.approx(0.0, abs=4.0)
    assert charge_findings(weigher)["delivered_g"] == pytest.approx(240.0, abs=1.5)


def test_a_touch_at_rest_is_no_flow():
    fill = Fill(flow_g_per_s=0.0, touches=[(50.0, 58.0, 40.0), (70.0, 70.5, -300.0), (90.0, 95.0, -60.0)])
    weigher, said = weigh(fill, target_g=30.0)
    assert first(said, "stop-charging") is None
    assert charge_findings(weigher)["delivered_g"] is None


def test_two_containers_count_what_each_lost_and_nothing_else():
    one = Fill(gross_g=520.0, closed_s=110.0, lifted_s=120.0, end_s=130.0)
    two = Fill(gross_g=545.0, opened_s=25.0, closed_s=65.0, end_s=100.0, seed=3)
    a, b = one.scale(), two.scale()
    weigher = Weigher(WeigherSetup(10.0, target_g=500.0))
    both = Block("scale", np.concatenate([a.t_s, b.t_s + 130.0]), np.concatenate([a.value, b.value]))
    for frame in weigher.frames(both):
        weigher.step(frame)
    charge = charge_findings(weigher)
    assert [c["drawn_g"] for c in charge["containers"]] == pytest.approx([160.0, 80.0], abs=1.5)
    assert charge["delivered_g"] == pytest.approx(240.0, abs=2.0)
    assert [e["event"] for e in scale_events(weigher) if e["event"] in ("placed", "lifted")] == [
        "placed",
        "lifted",
        "placed",
    ]


def test_a_container_put_back_goes_on_with_its_stay():
    block = Fill(closed_s=130.0).scale()
    away = (block.t_s > 80.0) & (block.t_s < 92.0)
    weigher = Weigher(WeigherSetup(10.0, target_g=500.0))
    for frame in weigher.frames(Block("scale", block.t_s, np.where(away, 0.5, block.value))):
        weigher.step(frame)
    events = [e["event"] for e in scale_events(weigher)]
    assert "lifted" in events and "put_back" in events
    assert charge_findings(weigher)["delivered_g"] == pytest.approx(200.0, abs=2.0)


def test_a_gain_without_any_mark_is_a_recovery():
    fill = Fill(flow_g_per_s=-3.0, closed_s=130.0)
    weigher, said = weigh(fill, target_g=500.0)
    assert weigher.account.recovered_g() == pytest.approx(300.0, abs=1.5)
    assert charge_findings(weigher)["delivered_g"] is None
    assert not [s for _, s in said if s.code == "stop-charging"]


def test_wild_and_missing_readings_do_not_reach_the_charge():
    fill = Fill(closed_s=130.0)
    block = fill.scale()
    value = block.value.copy()
    value[400:1200:37] = 8388607.0
    value[410:1200:41] = np.nan
    weigher = Weigher(WeigherSetup(10.0, target_g=500.0))
    for frame in weigher.frames(Block("scale", block.t_s, value)):
        weigher.step(frame)
    assert charge_findings(weigher)["delivered_g"] == pytest.approx(200.0, abs=1.5)


@pytest.mark.parametrize("gap", [(30.5, 36.0), (60.0, 95.0), (125.0, 150.0), (29.0, 135.0)])
def test_what_flows_while_nothing_is_read_is_weighed_afterwards(gap):
    fill = Fill(closed_s=130.0, end_s=190.0)
    block = fill.scale()
    seen = (block.t_s < gap[0]) | (block.t_s > gap[1])
    weigher = Weigher(WeigherSetup(10.0, target_g=500.0))
    for frame in weigher.frames(Block("scale", block.t_s[seen], block.value[seen])):
        weigher.step(frame)
    assert charge_findings(weigher)["delivered_g"] == pytest.approx(200.0, abs=1.5)


def test_a_stop_that_fell_into_a_gap_is_said_at_its_end():
    fill = Fill(closed_s=150.0, end_s=190.0)
    block = fill.scale()
    seen = (block.t_s < 110.0) | (block.t_s > 140.0)
    weigher = Weigher(WeigherSetup(10.0, target_g=200.0))
    said = []
    for frame in weigher.frames(Block("scale", block.t_s[seen], block.value[seen])):
        said += [(frame.known_t_s, signal) for signal in weigher.step(frame)]
    assert 140.0 < first(said, "stop-charging") < 142.0
