"""Scenarios played without wires: repeatable, sampled as sensors sample, and true to what the technician hears."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firmware_bridge.blocks import Block
from firmware_bridge.virtual.rollout import Rollout, rollout
from firmware_bridge.virtual.scenario import demo_scenario, random_fill, random_hold
from firmware_bridge.virtual.setting import Disturbance, Scenario

FILLS = ("undisturbed", "fast_liquid", "disturbed", "three_cans")


class EagerEar:
    """Raises one code as soon as the scale, averaged over a look, has fallen by `drop_g` from its highest reading."""

    def __init__(self, code: str, drop_g: float):
        self.code, self.drop_g = code, drop_g
        self.highest_g = -np.inf
        self.raised = False

    def __call__(self, blocks: list[Block]) -> list[str]:
        scale = [block.value for block in blocks if block.channel == "scale"]
        if not scale or self.raised:
            return []
        mean_g = float(np.mean(np.concatenate(scale)))
        self.highest_g = max(self.highest_g, mean_g)
        self.raised = mean_g < self.highest_g - self.drop_g
        return [self.code] if self.raised else []


def _quiet(seed: int = 5, **technician: object) -> Scenario:
    """A fill whose scale does not disturb, so that a simple ear hears right."""
    scenario = random_fill(seed, "undisturbed")
    return replace(
        scenario,
        sensors=replace(scenario.sensors, noise_g=0.3, vibration_g=0.0),
        technician=replace(scenario.technician, throttles=False, **technician),
    )


def test_the_same_seed_gives_the_same_session_and_another_seed_another():
    first, again, other = (rollout(random_fill(seed, "fast_liquid")) for seed in (3, 3, 4))
    assert np.array_equal(first.t_s, again.t_s)
    assert np.array_equal(first.value, again.value, equal_nan=True)
    assert first.marks == again.marks
    assert first.truth == again.truth
    assert first.truth["charge"]["target_g"] != other.truth["charge"]["target_g"]


def test_listening_changes_nothing_that_the_sensors_say():
    alone, overheard = (rollout(random_fill(3, "fast_liquid"), ear) for ear in (None, lambda blocks: []))
    assert np.array_equal(alone.t_s, overheard.t_s)
    assert np.allclose(alone.value, overheard.value, atol=1e-9, equal_nan=True)


@pytest.mark.parametrize("kind", FILLS)
def test_a_fill_that_nobody_stops_runs_over_its_target(kind):
    charge = rollout(random_fill(11, kind)).truth["charge"]
    assert charge["target_crossed_t_s"] is not None
    assert charge["delivered_g"] > charge["target_g"] + 20.0
    assert charge["delivered_g"] == pytest.approx(charge["drawn_g"] - charge["vented_g"] - charge["hose_residue_g"])


def test_delivered_against_time_ends_where_the_charge_ended_and_never_falls():
    scenario = random_fill(12, "three_cans")
    (charge_step,) = [step for step in scenario.steps if step.kind == "charge"]
    charge = rollout(replace(scenario, steps=(replace(charge_step, purge=False),))).truth["charge"]
    assert charge["delivered"]["g"][-1] == pytest.approx(charge["delivered_g"], abs=0.01)
    assert np.all(np.diff(charge["delivered"]["g"]) >= -1e-3)
    fine = np.interp(charge["target_crossed_t_s"], charge["delivered_fine"]["t_s"], charge["delivered_fine"]["g"])
    assert fine == pytest.approx(charge["target_g"], abs=0.5)
    steps_s = np.diff(charge["delivered_fine"]["t_s"])
    assert np.allclose(steps_s, 0.05, atol=1e-6)


def test_every_small_can_is_left_with_a_little_vapour_and_swapped():
    truth = rollout(random_fill(13, "three_cans")).truth
    assert len(truth["containers"]) == 3
    for stay in truth["containers"][:2]:
        assert 1.0 < stay["left_g"] < 9.0
        assert stay["drawn_g"] == pytest.approx(stay["gross_on_g"] - stay["gross_off_g"])


def test_the_technician_closes_after_his_lag():
    scenario = _quiet(close_lag_s=2.0, lag_spread_s=0.05)
    result = rollout(scenario, EagerEar("stop-charging", 200.0))
    ((heard_s, code),) = result.heard
    assert code == "stop-charging"
    assert result.truth["charge"]["flow_ended_t_s"] - heard_s == pytest.approx(2.0, abs=0.5)
    assert 195.0 < result.truth["charge"]["drawn_g"] < 225.0


def test_a_deaf_technician_runs_over_by_what_his_habit_says():
    result = rollout(_quiet(heeds_stop=False, overrun_g=90.0), EagerEar("stop-charging", 200.0))
    charge = result.truth["charge"]
    assert result.heard
    assert charge["delivered_g"] == pytest.approx(charge["target_g"] + 90.0, abs=3.0)


def test_closing_on_time_lands_near_the_target():
    scenario = _quiet()
    lead_g = 2.5 * scenario.technician.close_lag_s
    result = rollout(scenario, EagerEar("stop-charging", scenario.target_g - lead_g))
    assert abs(result.truth["charge"]["delivered_g"] - scenario.target_g) < 12.0


def test_approaching_target_makes_a_careful_technician_throttle():
    careful = replace(_quiet(), technician=replace(_quiet().technician, throttles=True))
    throttled = rollout(careful, EagerEar("approaching-target", 200.0)).truth["charge"]
    open_wide = rollout(_quiet(), EagerEar("approaching-target", 200.0)).truth["charge"]
    assert throttled["mean_flow_g_per_s"] < 0.8 * open_wide["mean_flow_g_per_s"]


def test_marks_come_in_time_late_or_not_at_all():
    in_time, late, missing = (
        rollout(random_fill(14, "fast_liquid", marks=marks)) for marks in ("complete", "late", "missing")
    )
    began = {
        name: [t_s for t_s, mark, d in r.marks if d.get("stage") == "charging"]
        for name, r in {"in_time": in_time, "late": late}.items()
    }
    assert missing.marks == []
    assert began["in_time"][0] - in_time.truth["charge"]["started_t_s"] < 2.0
    assert began["late"][0] - late.truth["charge"]["started_t_s"] > 5.0
    assert all(earlier[0] <= later[0] for earlier, later in zip(late.marks, late.marks[1:], strict=False))


def test_marks_are_handed_over_after_every_sample_before_them():
    seen: list[tuple[str, float]] = []

    def ear(blocks: list[Block]) -> list[str]:
        seen.extend(("samples", float(block.t_s[0])) for block in blocks)
        seen.extend(("samples", float(block.t_s[-1])) for block in blocks)
        return []

    result = rollout(random_fill(15, "fast_liquid"), ear, lambda t_s, mark, detail: seen.append(("mark", t_s)))
    marks = [index for index, (kind, _) in enumerate(seen) if kind == "mark"]
    assert len(marks) == len(result.marks)
    for index in marks:
        assert all(t_s <= seen[index][1] + 1e-9 for kind, t_s in seen[:index] if kind == "samples")
        assert all(t_s > seen[index][1] - 1e-9 for kind, t_s in seen[index:] if kind == "samples")


def test_sampling_is_ordered_quantised_and_a_little_uneven():
    scenario = random_fill(16, "fast_liquid")
    result = rollout(scenario)
    assert np.all(np.diff(result.t_s) >= 0.0)
    t_s, value = result.readings("scale")
    steps = value / scenario.sensors.resolution_g
    assert np.allclose(steps, np.round(steps), atol=1e-6)
    assert np.median(np.diff(t_s)) == pytest.approx(0.1, abs=0.003)
    assert 0.001 < np.std(np.diff(t_s)) < 0.01
    vent_t_s, vent = result.readings("vent_temp")
    assert np.allclose(vent * 16.0, np.round(vent * 16.0))
    assert len(vent_t_s) == pytest.approx(result.truth["duration_s"], abs=2)


def test_batches_hold_every_reading_once_and_every_mark_in_its_place():
    result = rollout(random_fill(17, "fast_liquid"))
    latest, rows, marks = -1.0, 0, []
    for batch in result.batches(0.7):
        if isinstance(batch, tuple):
            marks.append(batch)
            assert latest <= batch[0]
        else:
            assert min(block.t_s[0] for block in batch) >= latest
            latest = max(block.t_s[-1] for block in batch)
            rows += sum(len(block) for block in batch)
    assert rows == len(result.t_s)
    assert marks == result.marks


def test_eighty_readings_a_second_are_noisier_but_weigh_the_same():
    slow, fast = (rollout(random_fill(18, "fast_liquid", rate_hz=rate_hz)) for rate_hz in (10, 80))
    scatter = {}
    for result in (slow, fast):
        t_s, value = result.readings("scale")
        stay = result.truth["containers"][0]
        resting = value[(t_s > stay["on_t_s"] + 1.0) & (t_s < result.truth["charge"]["started_t_s"])]
        assert np.mean(resting) == pytest.approx(stay["gross_on_g"], abs=8.0)
        scatter[len(t_s)] = np.std(resting)
    (few, quiet), (many, noisy) = sorted(scatter.items())
    assert many == pytest.approx(8 * few, rel=0.01)
    assert noisy > 1.3 * quiet


def _disturbed(*disturbances: Disturbance) -> tuple[Scenario, Rollout]:
    scenario = replace(_quiet(), disturbances=disturbances)
    return scenario, rollout(scenario)


def test_a_lift_empties_the_platform_and_a_dropped_reading_is_no_number():
    lift, dropped = Disturbance("lift", 4.0, start_s=58.0), Disturbance("dropped", 1.0, start_s=70.0)
    _, result = _disturbed(lift, dropped)
    t_s, value = result.readings("scale")
    assert np.all(np.abs(value[(t_s > 58.3) & (t_s < 61.7)]) < 20.0)
    assert np.all(value[(t_s > 63.0) & (t_s < 69.0)] > 500.0)
    assert np.all(np.isnan(value[(t_s > 70.05) & (t_s < 70.9)]))
    assert np.all(np.isfinite(value[(t_s > 71.1)]))


def test_a_hand_can_come_to_rest_just_as_the_target_is_crossed():
    _, result = _disturbed(Disturbance("hand", 5.0, 40.0, at_target=True))
    (hand,) = result.truth["faults"]
    crossed_s = result.truth["charge"]["target_crossed_t_s"]
    assert abs(hand["from_t_s"] - crossed_s) < 1.5
    t_s, value = result.readings("scale")
    before = np.mean(value[(t_s > hand["from_t_s"] - 2.0) & (t_s < hand["from_t_s"])])
    during = np.mean(value[(t_s > hand["from_t_s"] + 0.5) & (t_s < hand["from_t_s"] + 2.0)])
    assert during - before == pytest.approx(40.0, abs=12.0)


@pytest.mark.parametrize("kind", ["leak", "moisture", "outgassing", "ambient-drift", "tight"])
def test_a_hold_rises_as_its_cause_says(kind):
    result = rollout(random_hold(1, kind))
    (hold,) = result.truth["vacuum_hold"]
    t_s, vacuum_pa = result.readings("vacuum")
    span = (t_s > hold["start_t_s"] + 30.0) & (t_s < hold["end_t_s"])
    thirds = [float(np.mean(part)) for part in np.array_split(vacuum_pa[span], 9)]
    early, late = thirds[4] - thirds[0], thirds[8] - thirds[4]
    duration_s = hold["end_t_s"] - hold["start_t_s"]
    assert hold["expect"] == {"leak": "leak", "moisture": "moisture"}.get(kind, "tight")
    if kind == "leak":
        assert hold["rise_pa"] == pytest.approx(hold["leak_pa_per_s"] * duration_s, rel=0.15)
        assert late == pytest.approx(early, rel=0.25)
    elif kind == "moisture":
        assert late < 0.5 * early
        assert thirds[8] < 1.1 * hold["moisture_asymptote_pa"]
    else:
        assert hold["rise_pa"] < (100.0 if kind == "outgassing" else 15.0)


def test_the_demonstration_goes_through_every_stage():
    scenario = demo_scenario()
    result = rollout(scenario, EagerEar("over-target", 1e9))
    stages = [detail["stage"] for _, mark, detail in result.marks if mark == "stage"]
    done = ["identification", "recovery", "evacuation", "vacuum_hold", "oil_and_dye", "charging", "performance"]
    assert stages == [*done, "closed"]
    assert 280.0 < result.truth["recovered_g"] < 310.0
    assert 12.0 * 60.0 < result.truth["duration_s"] < 19.0 * 60.0
    assert result.setup["placard"] == {"low_g": 505.0, "high_g": 535.0}
    assert set(result.setup["channels"]) == set(result.channels)


@pytest.mark.parametrize("make", [random_fill, random_hold])
def test_an_unknown_kind_is_refused_by_name(make):
    with pytest.raises(ValueError, match="no (fill|hold) of kind 'sideways'"):
        make(1, "sideways")
