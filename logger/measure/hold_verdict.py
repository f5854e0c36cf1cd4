"""The verdict on a hold: tight, leak, moisture or inconclusive, and how sure.

A hold never says "no leak": it says what it would have seen. Thresholds are ours unless a source is named.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.measure import water
from logger.measure.hold_series import thin
from logger.measure.rise_models import VAPOUR_PER_K, RiseFit, fit_rise

WANTED_PA_PER_S = 0.01
"""A hold counts as tight when no leak above this fits its readings."""

SMALLEST_LEAK_PA_PER_S = 0.0015
"""Below this, desorption that follows neither of our shapes could pass for a leak."""

SHORT_LEAK_PA_PER_S = 0.05
"""The same in a hold of less than five minutes."""

MOIST_PA = 50.0
"""Outgassing of a dry circuit levels off well below this; water stands far above (500 micron = 67 Pa is common
practice)."""

STILL_SHARE = 0.02
"""Even a dry circuit gives off more than this of its pressure in a hold."""

CREEP_PA = 200.0
"""Refrigerant leaving oil and rubber creeps up with the logarithm of time, by less than this."""

CLEARLY = 6.0
"""Difference of the criterion from which one model is clearly better (Burnham and Anderson: 4 to 7 'considerably
less')."""

SETTLING_S = 10.0
"""Hose and circuit even out first."""

SHORTEST_S = 120.0
SHORTEST_TIGHT_S = 300.0
POWER = (1.96 + 1.645) / 1.96
"""From the half-width of a 95 % interval to the leak that would be told from none in 95 of 100 holds."""


@dataclass(frozen=True, slots=True)
class HoldReadings:
    """A hold as it was read, a second each: float64 (n,) each; temp_c NaN where no probe was read.

    marked: the technician said that it was a hold. system_pa: the low-side transducer's absolute mean with its
    uncertainty.
    """

    t_s: np.ndarray
    p_pa: np.ndarray
    temp_c: np.ndarray
    marked: bool
    system_pa: tuple[float, float] | None = None
    saturated: bool = False


@dataclass(frozen=True, slots=True)
class HoldVerdict:
    """verdict, the straight part of the rise with its 95 % interval (None: not judged), the smallest leak it could have
    seen, how long still until `wanted` could be seen (None: unknown, 0: reached), and why."""

    verdict: str
    why: str
    rise_pa_per_s: float | None = None
    ci95: tuple[float, float] | None = None
    smallest_pa_per_s: float | None = None
    seconds_still: float | None = None
    fit: RiseFit | None = None


def judge_hold(readings: HoldReadings, wanted_pa_per_s: float = WANTED_PA_PER_S) -> HoldVerdict:
    """The verdict on one hold, running or ended."""
    if readings.saturated:
        return HoldVerdict("inconclusive", "the vacuum sensor stood at its full scale: the pressure is not known")
    kept = readings.t_s >= readings.t_s[0] + SETTLING_S if len(readings.t_s) else np.zeros(0, bool)
    duration_s = float(readings.t_s[-1] - readings.t_s[0]) if len(readings.t_s) else 0.0
    fit = _fit(readings, kept)
    if fit is None:
        return HoldVerdict("inconclusive", f"{duration_s:.0f} s are too short to tell", seconds_still=SHORTEST_S)
    verdict, why = _decide(readings, fit, duration_s, wanted_pa_per_s)
    smallest = max((fit.ci95[1] - fit.ci95[0]) / 2.0 * POWER, 1e-6)
    still = _seconds_still(verdict, fit, smallest, duration_s, wanted_pa_per_s)
    return HoldVerdict(verdict, why, fit.rate_pa_per_s, fit.ci95, smallest, still, fit)


def _fit(readings: HoldReadings, kept: np.ndarray) -> RiseFit | None:
    """Models fitted to the pressure as it would be at the first temperature (gas: p/T)."""
    temp_c = readings.temp_c[kept]
    bins = thin(readings.t_s[kept], readings.p_pa[kept], temp_c)
    if bins is None:
        return None
    if bins.temp_c is None:
        return fit_rise(bins.t_s, bins.p_pa, bins.sd_pa)
    at_start = (bins.temp_c[0] + 273.15) / (bins.temp_c + 273.15)
    return fit_rise(bins.t_s, bins.p_pa * at_start, bins.sd_pa, float(np.ptp(bins.temp_c)))


def _decide(readings: HoldReadings, fit: RiseFit, duration_s: float, wanted: float) -> tuple[str, str]:
    doubt = _doubt(readings, fit, duration_s)
    if doubt:
        return "inconclusive", doubt
    low, high = fit.ci95
    leaks = low > (SMALLEST_LEAK_PA_PER_S if duration_s >= SHORTEST_TIGHT_S else SHORT_LEAK_PA_PER_S)
    moist = _levels_off(fit) and fit.amplitude_pa > (MOIST_PA if fit.end_pa is not None else CREEP_PA)
    if leaks and not (moist and low * duration_s < _water_could_add(readings, fit)):
        also = f" A levelling part of {fit.amplitude_pa:.0f} Pa speaks of moisture besides." if moist else ""
        return (
            "leak",
            f"the pressure rises straight on at {fit.rate_pa_per_s:.3g} Pa/s, which no levelling explains.{also}",
        )
    if moist:
        return _moist_or_not(readings, fit, duration_s)
    if high < wanted and duration_s >= SHORTEST_TIGHT_S and not fit.amplitude_pa > MOIST_PA:
        return "tight", _tight_words(fit, wanted)
    return "inconclusive", _undecided_words(fit, high)


def _change(p_pa: np.ndarray) -> float:
    """How far the last tenth of the readings lies above the first, as a share of it."""
    tenth = max(len(p_pa) // 10, 5)
    return float(np.mean(p_pa[-tenth:]) / max(np.mean(p_pa[:tenth]), 1e-3)) - 1.0


def _water_could_add(readings: HoldReadings, fit: RiseFit) -> float:
    """How much of a straight rise in Pa a wet circuit explains: a reserve that dries, and vapour that follows its
    warmth."""
    known = readings.temp_c[np.isfinite(readings.temp_c)]
    moved_k = float(np.ptp(known)) if len(known) else 0.0
    rise_pa = float(np.mean(readings.p_pa[-10:]) - np.mean(readings.p_pa[:10]))
    return max(0.25 * fit.amplitude_pa, 1.1 * VAPOUR_PER_K * moved_k * rise_pa)


def _levels_off(fit: RiseFit) -> bool:
    return min(fit.aicc["linear"], fit.aicc["flat"]) - min(fit.aicc["levelling"], fit.aicc["both"]) > CLEARLY


def _doubt(readings: HoldReadings, fit: RiseFit, duration_s: float) -> str | None:
    """What forbids a verdict though there are readings."""
    level = float(np.mean(readings.p_pa))
    if readings.system_pa is not None and readings.system_pa[0] - readings.system_pa[1] > level + 25_000.0:
        return (
            f"the low side stands at {readings.system_pa[0] / 1e3:.0f} kPa absolute while the vacuum sensor reads "
            f"{level:.0f} Pa: a valve between them is closed, or one of them is wrong"
        )
    if duration_s < (SHORTEST_S if readings.marked else SHORTEST_TIGHT_S):
        return f"{duration_s:.0f} s are too short to tell a leak from what the walls give off"
    if _change(readings.p_pa) < -0.1:
        return "the pressure falls: the pump is still on, or its valve is not closed"
    if fit.best == "flat" and _change(readings.p_pa) < STILL_SHARE:
        return "the pressure did not move at all, as with a pump still on or a sensor shut off from the circuit"
    return None


def _moist_or_not(readings: HoldReadings, fit: RiseFit, duration_s: float) -> tuple[str, str]:
    known = readings.temp_c[np.isfinite(readings.temp_c)]
    if duration_s < SHORTEST_TIGHT_S:
        return "inconclusive", "it rises and begins to level off; too early to tell moisture from a leak"
    ceiling = water.saturation_pa(float(np.max(known))) if len(known) else None
    if ceiling is not None and fit.end_pa is not None and fit.end_pa > 1.3 * ceiling:
        return "inconclusive", (
            f"it levels off towards {fit.end_pa:.0f} Pa, above what water can reach here ({ceiling:.0f} Pa): "
            "refrigerant leaving the oil, or a leak that slows down"
        )
    towards = "" if fit.end_pa is None else f" towards {fit.end_pa:.0f} Pa"
    share = f" ({fit.end_pa / ceiling:.0%} of water's {ceiling:.0f} Pa)" if ceiling and fit.end_pa else ""
    return (
        "moisture",
        f"it rises fast and levels off{towards}{share}: water is still in there. Evacuate on, warm it, repeat.",
    )


def _tight_words(fit: RiseFit, wanted: float) -> str:
    how = {"levelling": "what rose levels off", "flat": "hardly anything rose"}.get(
        fit.best, "the straight part is small"
    )
    return (
        f"{how}; no leak above {max(fit.ci95[1], 1e-5):.2g} Pa/s fits ({wanted:.2g} asked for). A smaller one may "
        f"be there."
    )


def _undecided_words(fit: RiseFit, high: float) -> str:
    if fit.amplitude_pa > MOIST_PA and fit.end_pa is None:
        return (
            "it creeps up as refrigerant leaving oil and rubber does, slower and slower: evacuate longer and hold again"
        )
    if fit.amplitude_pa > MOIST_PA:
        return "it rises too far for a dry circuit, but straight or levelling cannot be told yet"
    return f"anything between no leak and {high:.2g} Pa/s fits: hold longer"


def _seconds_still(verdict: str, fit: RiseFit, smallest: float, duration_s: float, wanted: float) -> float | None:
    """Intervals narrow with the 1.5th power of time at least: the slope of readings of one noise over a longer span."""
    if verdict in ("tight", "leak", "moisture"):
        return 0.0
    if duration_s < SHORTEST_S:
        return SHORTEST_S - duration_s
    needed = duration_s * (max(smallest, fit.ci95[1]) / wanted) ** (2.0 / 3.0)
    return max(needed - duration_s, SHORTEST_TIGHT_S - duration_s, 60.0)
