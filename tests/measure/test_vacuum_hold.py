"""Hold verdicts on simulated holds and on the shared recordings."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import numpy as np
import pytest
from bench.holds import Hold, mixed_holds, simulate_hold

from logger.measure.atmosphere import ambient_pressure
from logger.measure.hold_spans import onset
from logger.measure.hold_verdict import HoldReadings, HoldVerdict, judge_hold
from logger.measure.physics import Physics, PhysicsSetup
from logger.measure.rise_models import fit_rise
from logger.measure.saturation import saturation
from logger.measure.ticks import Tick
from logger.measure.vacuum_hold import FullScale, VacuumHold


def judge(hold: Hold) -> HoldVerdict:
    return judge_hold(HoldReadings(hold.t_s, hold.p_pa, hold.temp_c, marked=True))


def test_verdicts_and_rates_over_many_holds():
    judged = [(hold, judge(hold)) for hold in mixed_holds(120, seed=3)]
    plain = [v.verdict == h.kind for h, v in judged if h.kind != "leak"]
    leaks = [(h.leak_pa_per_s, v) for h, v in judged if h.kind == "leak" and h.leak_pa_per_s >= 0.01]
    assert np.mean(plain + [v.verdict == "leak" for _, v in leaks]) >= 0.95
    assert np.mean([abs(v.rise_pa_per_s / leak - 1.0) <= 0.2 for leak, v in leaks]) >= 0.95
    assert not [leak for leak, v in leaks if leak >= 0.05 and v.verdict == "tight"]
    inside = [v.ci95[0] <= h.leak_pa_per_s <= v.ci95[1] for h, v in judged]
    assert np.mean(inside) >= 0.88


@pytest.mark.parametrize("drift_k", [-8.0, 8.0])
def test_drifting_ambient_is_no_leak(drift_k):
    rng = np.random.default_rng(5)
    verdicts = [judge(simulate_hold(rng, "tight", 0.0, seconds, drift_k)).verdict for seconds in range(900, 2700, 100)]
    assert "leak" not in verdicts
    assert verdicts.count("tight") >= 15


@pytest.mark.parametrize("leak", [0.05, 0.1, 0.5])
def test_a_leak_is_never_called_tight_after_a_quarter_of_an_hour(leak):
    rng = np.random.default_rng(6)
    assert "tight" not in [judge(simulate_hold(rng, "leak", leak, 900, 0.0)).verdict for _ in range(15)]


def test_straight_line_is_met_with_an_honest_interval():
    rng = np.random.default_rng(2)
    t_s = np.arange(0.0, 1800.0, 15.0)
    hits = 0
    for _ in range(40):
        sd_pa = np.full_like(t_s, 0.3)
        fit = fit_rise(t_s, 20.0 + 0.02 * t_s + rng.normal(0.0, 0.3, len(t_s)), sd_pa)
        hits += fit.ci95[0] <= 0.02 <= fit.ci95[1]
        assert fit.rate_pa_per_s == pytest.approx(0.02, rel=0.1)
    assert hits >= 34


def test_autocorrelated_noise_widens_the_interval():
    rng = np.random.default_rng(4)
    t_s, sd_pa = np.arange(0.0, 1800.0, 15.0), np.full(120, 0.3)
    white = rng.normal(0.0, 0.3, 120)
    wander = np.convolve(rng.normal(0.0, 0.3, 139), np.ones(20) / 20**0.5, "valid")
    widths = [np.ptp(fit_rise(t_s, 20.0 + 0.02 * t_s + noise, sd_pa).ci95) for noise in (white, wander)]
    assert widths[1] > 1.5 * widths[0]


def test_short_holds_say_how_long_still():
    rng = np.random.default_rng(8)
    short = simulate_hold(rng, "tight", 0.0, 200, 0.0)
    verdict = judge(short)
    assert verdict.verdict == "inconclusive"
    assert verdict.seconds_still > 0.0
    assert judge_hold(HoldReadings(np.arange(5.0), np.full(5, 12.0), np.full(5, 20.0), True)).rise_pa_per_s is None


def test_longer_holds_see_smaller_leaks():
    rng = np.random.default_rng(9)
    long = simulate_hold(rng, "tight", 0.0, 2700, 0.0)
    cut = [HoldReadings(long.t_s[:n], long.p_pa[:n], long.temp_c[:n], True) for n in (600, 2700)]
    first, last = (judge_hold(readings).smallest_pa_per_s for readings in cut)
    assert last < first / 2.0


def flat(seconds: int = 900, fall: float = 0.0) -> HoldReadings:
    t_s = np.arange(1.0, seconds + 1.0)
    noise = 1.0 + np.random.default_rng(1).normal(0.0, 0.02, seconds)
    return HoldReadings(t_s, 12.0 * noise * np.exp(-fall * t_s), np.full(seconds, 22.0), True)


def test_what_forbids_a_verdict():
    assert "pump" in judge_hold(flat()).why
    assert "falls" in judge_hold(flat(fall=1e-3)).why
    readings = flat()
    shut = HoldReadings(readings.t_s, readings.p_pa, readings.temp_c, True, system_pa=(90_000.0, 3_000.0))
    assert "valve" in judge_hold(shut).why
    full = HoldReadings(np.arange(3.0), np.full(3, 2700.0), np.full(3, 20.0), True, saturated=True)
    assert "full scale" in judge_hold(full).why


def test_onset_of_the_rise_is_found():
    rng = np.random.default_rng(3)
    t_s = np.arange(0.0, 240.0)
    p_pa = (10.0 + 0.06 * np.maximum(t_s - 130.0, 0.0)) * (1.0 + rng.normal(0.0, 0.02, 240))
    assert onset(t_s, p_pa) == pytest.approx(130.0, abs=20.0)
    assert onset(t_s, 10.0 + rng.normal(0.0, 0.2, 240)) is None


def hold_session(stages: bool, ends: str, leak: float = 0.0) -> VacuumHold:
    """Pump-down, a hold of 1200 s, and then a charge or the pump again, with or without marks."""
    rng = np.random.default_rng(13)
    hold = simulate_hold(rng, "leak" if leak else "tight", leak, 1200, 0.0)
    ultimate_pa = np.mean(hold.p_pa[:5])
    pumping = np.round((ultimate_pa + 2000.0 * np.exp(-np.arange(600.0) / 40.0)) * (1 + rng.normal(0, 0.03, 600)), 1)
    after = np.full(60, 2700.0) if ends == "charge" else np.maximum(hold.p_pa[-1] * np.exp(-np.arange(200) / 20.0), 9.0)
    values = np.concatenate([pumping, hold.p_pa, after])
    watcher, scale, ambient = VacuumHold(saturation("R-134a"), 2000.0), FullScale(), ambient_pressure(101.3, None)
    for k, p_pa in enumerate(values.tolist(), start=1):
        stage = ("evacuation" if k <= 605 else "vacuum_hold" if k <= 1801 else "evacuation") if stages else ""
        tick = Tick(float(k), {"vacuum": p_pa, "ambient_temp": 22.0}, {"vacuum": p_pa}, stage)
        watcher.update(tick, p_pa, scale.saturated(p_pa, p_pa), ambient)
    return watcher


@pytest.mark.parametrize("stages", [True, False])
@pytest.mark.parametrize("ends", ["charge", "pump"])
def test_a_hold_is_found_with_or_without_marks(stages, ends):
    (found,) = hold_session(stages, ends).findings()
    assert found["verdict"] == "tight"
    assert found["start_t_s"] == pytest.approx(600.0, abs=30.0)
    assert found["end_t_s"] == pytest.approx(1800.0, abs=45.0)


def test_a_leak_comes_in_all_units_and_never_without_what_stays_unseen():
    (found,) = hold_session(True, "charge", leak=0.05).findings()
    assert found["verdict"] == "leak"
    assert found["leak_pa_m3_per_s"] == pytest.approx(0.05 * 2000e-6, rel=0.2)
    assert found["leak_mbar_l_per_s"] == pytest.approx(10.0 * found["leak_pa_m3_per_s"])
    assert found["leak_g_per_year"][0] < found["leak_g_per_year"][1]
    assert "unseen" in found["leak_why"]
    assert "nitrogen" in found["better_test"]


def test_a_sensor_at_full_scale_throughout_is_not_judged():
    physics = Physics(PhysicsSetup("R-134a", 2000.0, 70.0, 0.0))
    for k in range(1, 700):
        stage = "evacuation" if k < 300 else "vacuum_hold" if k < 600 else "charging"
        physics.update(Tick(float(k), {"vacuum": 2700.0}, {"vacuum": 2700.0}, stage))
    found = physics.findings()
    assert found["evacuation"]["lowest_pa"] is None
    assert "full scale" in found["evacuation"]["why"]
    assert [hold["verdict"] for hold in found["vacuum_hold"]] == ["inconclusive"]
    assert "full scale" in found["vacuum_hold"][0]["why"]


@pytest.mark.parametrize(("name", "marked"), [(n, m) for n in ("hold-leak", "hold-moisture") for m in (True, False)])
def test_recorded_holds(recordings: Path, tmp_path: Path, name, marked):
    from recordings_as_ticks import ticks

    with zipfile.ZipFile(recordings / f"{name}.zip") as packed:
        packed.extractall(tmp_path)
    folder = next(path.parent for path in tmp_path.rglob("readings.csv"))
    session = json.loads((folder / "session.json").read_text(encoding="utf-8"))
    physics = Physics(PhysicsSetup(session["refrigerant"], session["system_volume_ml"], session["hose_volume_ml"]))
    said = [signal for tick in ticks(folder, marked) for signal in physics.update(tick)]
    assert not said
    findings = physics.findings()
    json.dumps(findings, allow_nan=False)
    (hold,) = findings["vacuum_hold"]
    assert hold["verdict"] == name.split("-")[1]
    assert findings["evacuation"]["water_plateau"] is (name == "hold-moisture")
    if name == "hold-leak":
        assert hold["rise_pa_per_s"] == pytest.approx(0.0200, rel=0.05)
        assert hold["leak_g_per_year_same_throughput"] == pytest.approx(64.6, rel=0.05)
