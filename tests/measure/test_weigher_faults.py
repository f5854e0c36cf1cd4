"""The weigher on a scale that spikes, shakes or leaps, and with loads that stay while the flow changes."""

from __future__ import annotations

import numpy as np
import pytest
from fills import Fill

from firmware_bridge.blocks import Block
from logger.measure.charge_findings import charge_findings, scale_events
from logger.measure.ticks import Signal
from logger.measure.weigher import Weigher, WeigherSetup
from logger.measure.whiteness import roughness

TARGET_G, LAG_S = 320.0, 1.0
TOLERANCE_G = 15.0
"""SAE J2788, 9.1."""


def weigh(block: Block, rate_hz: float = 10.0) -> tuple[Weigher, list[tuple[float, Signal]]]:
    weigher = Weigher(WeigherSetup(rate_hz, target_g=TARGET_G, close_lag_s=LAG_S))
    said = [(f.known_t_s, signal) for f in weigher.frames(block) for signal in weigher.step(f)]
    return weigher, said


def stopped_s(said: list[tuple[float, Signal]]) -> float:
    return next(t for t, s in said if s.code == "stop-charging" and s.active)


def throttled(load_g: float, seed: int = 1) -> tuple[Block, np.ndarray]:
    """20 g/s from 30 s on, 8 g/s from 42 s on; a load comes at 36 s and stays. And what was drawn."""
    t = np.arange(0.03, 80.0, 0.1)
    drawn_g = 20.0 * np.clip(t - 30.0, 0.0, 12.0) + 8.0 * np.clip(t - 42.0, 0.0, 30.0)
    gross_g = (t > 5.0) * (5000.0 - drawn_g) + load_g * (t > 36.0)
    return Block("scale", t, gross_g + np.random.default_rng(seed).normal(0.0, 1.0, len(t))), drawn_g


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("load_g", [-100.0, -45.0, 45.0, 100.0, 300.0])
def test_a_load_that_stays_while_the_flow_is_throttled_is_no_mass(load_g, seed):
    block, drawn_g = throttled(load_g, seed)
    _, said = weigh(block)
    assert np.interp(stopped_s(said) + LAG_S, block.t_s, drawn_g) == pytest.approx(TARGET_G, abs=8.0)


@pytest.mark.parametrize("rate_hz", [10.0, 80.0])
@pytest.mark.parametrize("flow", [2.0, 20.0])
def test_one_reading_in_twenty_far_off_moves_no_stop(rate_hz, flow):
    fill = Fill(flow_g_per_s=flow, closed_s=30.0 + 400.0 / flow, end_s=50.0 + 400.0 / flow, rate_hz=rate_hz)
    block, rng = fill.scale(), np.random.default_rng(4)
    hit = rng.random(len(block)) < 0.05
    _, said = weigh(Block("scale", block.t_s, block.value + hit * rng.choice([-300.0, 300.0], len(block))), rate_hz)
    assert fill.drawn_g(stopped_s(said) + LAG_S) == pytest.approx(TARGET_G, abs=2.0 + 0.15 * flow)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("flow", "from_s"), [(2.0, 90.0), (20.0, 35.0)])
def test_a_scale_that_begins_to_shake_stops_within_the_tolerance_and_says_so(flow, from_s, seed):
    fill = Fill(flow_g_per_s=flow, closed_s=30.0 + 400.0 / flow, end_s=50.0 + 400.0 / flow)
    block = fill.scale()
    noise_g = np.random.default_rng(seed).normal(0.0, 20.0, len(block)) * (block.t_s > from_s)
    _, said = weigh(Block("scale", block.t_s, block.value + noise_g))
    assert fill.drawn_g(stopped_s(said) + LAG_S) == pytest.approx(TARGET_G, abs=TOLERANCE_G)
    told_s = next(t for t, s in said if s.code == "scale-disturbed" and s.active)
    assert from_s < told_s < from_s + 6.0


def gravities(said: list[tuple[float, Signal]]) -> list[str]:
    return [s.severity for _, s in said if s.code == "scale-disturbed" and s.active]


@pytest.mark.parametrize("gain", [0.5, 0.8, 1.2])
def test_a_gain_that_leaps_while_it_flows_is_a_danger(gain):
    block = Fill().scale()
    _, said = weigh(Block("scale", block.t_s, np.where(block.t_s > 90.0, gain, 1.0) * block.value))
    assert gravities(said) == ["danger"]
    assert 90.0 < next(t for t, s in said if s.severity == "danger") < 94.0
    assert not [s for _, s in said if s.code == "stop-charging"]


def test_a_hand_is_no_danger_nor_is_a_container_held_while_nothing_flows():
    _, said = weigh(Fill(touches=[(90.0, 100.0, 60.0)]).scale())
    assert gravities(said) == ["notice"]
    _, said = weigh(Fill(flow_g_per_s=0.0, touches=[(90.0, 100.0, -2500.0)]).scale())
    assert gravities(said) == ["notice"]


def test_a_light_pull_taken_for_mass_is_given_back_when_it_leaves():
    weigher, _ = weigh(Fill(touches=[(15.0, 24.0, -12.0)]).scale())
    assert [e["event"] for e in scale_events(weigher)][:4] == ["placed", "pulled", "stayed", "undone"]
    assert charge_findings(weigher)["delivered_g"] == pytest.approx(200.0, abs=1.5)


def test_a_container_lifted_from_under_a_hand_has_left_at_once():
    block = Fill(gross_g=500.0, lifted_s=110.0, closed_s=100.0, end_s=130.0).scale()
    hand_g = 45.0 * ((block.t_s > 105.0) & (block.t_s < 116.0))
    weigher, _ = weigh(Block("scale", block.t_s, block.value + hand_g))
    lifted = [e["t_s"] for e in scale_events(weigher) if e["event"] == "lifted"]
    assert lifted == [pytest.approx(110.0, abs=0.5)]
    assert charge_findings(weigher)["delivered_g"] == pytest.approx(140.0, abs=3.0)


@pytest.mark.parametrize("sigma_g", [0.5, 20.0])
def test_roughness_is_the_noise_whatever_flows_or_leaps(sigma_g):
    rng = np.random.default_rng(1)
    y = rng.normal(0.0, sigma_g, (400, 25)) - 3.0 * np.arange(25)
    y[:, 12:] += 80.0
    y[:, 5] += 1e6
    assert np.sqrt(np.median([roughness(row) for row in y.tolist()])) == pytest.approx(sigma_g, rel=0.5)


@pytest.mark.parametrize("seed", range(4))
def test_a_container_is_seen_to_land_on_a_scale_that_shakes_from_the_start(seed):
    fill = Fill(placed_s=20.0, closed_s=230.0, end_s=250.0)
    block = fill.scale()
    noise_g = np.random.default_rng(seed).normal(0.0, 20.0, len(block))
    _, said = weigh(Block("scale", block.t_s, block.value + noise_g))
    assert fill.drawn_g(stopped_s(said) + LAG_S) == pytest.approx(TARGET_G, abs=TOLERANCE_G)
