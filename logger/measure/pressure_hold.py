"""A pressure hold with dry nitrogen, corrected for temperature.

Nitrogen at a fixed volume follows p/T (ideal gas; at 1000 kPa and 25 °C five kelvin move it by 16.8 kPa), so what is
left after dividing by T is a leak. Stay within the maker's test pressure, with a regulator and a relief valve; never
oxygen or shop air.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.measure.hold_series import thin
from logger.measure.hold_verdict import POWER
from logger.measure.leak_rate import throughput_pa_m3_per_s
from logger.measure.rise_models import fit_rise
from logger.measure.saturation import ZERO_C_K

SHORTEST_S = 600.0
PROBE_K = 0.1
"""How far a probe on the circuit may move against the gas during the test; it limits what can be seen. From memory, low
trust."""

AMBIENT_K = 0.5
"""The same for the air of the workshop, where no probe sits on the circuit. From memory, low trust."""

COOLS_S = 300.0
"""Longest time constant with which gas and metal even out. From memory, low trust."""

ROOM_K = 298.0
LONGEST_WAIT_S = 24 * 3600.0
GROSS_S, GROSS_SHARE, GROSS_UNCORRECTED = 120.0, 0.01, 0.05
"""Gas that cools on the metal does not lose so much of its pressure (three kelvin, fifteen where none was read)."""


@dataclass(frozen=True, slots=True)
class PressureHold:
    """verdict: "tight", "leak" or "inconclusive"; fall in Pa/s at the first temperature with its 95 % interval, the
    smallest fall it would have told from none, how long still until the wanted one could be seen (0: decided, None:
    never at this rate), and why."""

    verdict: str
    why: str
    fall_pa_per_s: float | None = None
    ci95: tuple[float, float] | None = None
    leak_pa_m3_per_s: float | None = None
    smallest_pa_per_s: float | None = None
    seconds_still: float | None = None


def pressure_hold(
    t_s: np.ndarray,
    absolute_pa: np.ndarray,
    temp_c: np.ndarray | None,
    volume_ml: float | None,
    wanted_pa_per_s: float,
    probe_k: float = PROBE_K,
) -> PressureHold:
    """Judge a hold under nitrogen: float64 (n,) each, about a second apart; temp_c None or NaN without a probe.

    wanted_pa_per_s: "tight" means that no faster fall fits. probe_k: how far the probe may move against the gas.
    """
    known = temp_c is not None and len(temp_c) > 0 and bool(np.all(np.isfinite(temp_c)))
    at_first = absolute_pa * (temp_c[0] + ZERO_C_K) / (temp_c + ZERO_C_K) if known else absolute_pa
    gross = _gross(t_s, at_first, volume_ml, GROSS_SHARE if known else GROSS_UNCORRECTED)
    fitted = _judge(t_s, at_first, known, volume_ml, wanted_pa_per_s, probe_k)
    if gross is None or (fitted.verdict == "leak" and fitted.fall_pa_per_s > 0.5 * gross.fall_pa_per_s):
        return fitted
    return gross


def _judge(
    t_s: np.ndarray, at_first: np.ndarray, known: bool, volume_ml: float | None, wanted: float, probe_k: float
) -> PressureHold:
    """By the models, as far as time and temperatures allow. known: `at_first` is corrected for temperature."""
    lasted_s = float(t_s[-1] - t_s[0]) if len(t_s) else 0.0
    if lasted_s < SHORTEST_S:
        why = f"hold for {SHORTEST_S / 60.0:.0f} minutes at least, gas and metal must even out"
        return PressureHold("inconclusive", why, seconds_still=SHORTEST_S - lasted_s)
    if not known:
        why = "no temperature on the circuit: a kelvin moves nitrogen by a third of a percent"
        return PressureHold("inconclusive", why)
    room = probe_k / ROOM_K * float(at_first[0]) / lasted_s
    return _fitted(t_s, at_first, room, volume_ml, wanted)


def _fitted(t_s: np.ndarray, at_first: np.ndarray, room: float, volume_ml: float | None, wanted: float) -> PressureHold:
    """A leak makes the pressure fall and warm gas that cools falls and levels off: mirrored, the models of a rise
    fit. room: what the temperature leaves open, Pa/s."""
    bins = thin(t_s, at_first, None)
    fit = None if bins is None else fit_rise(bins.t_s, at_first[0] - bins.p_pa, bins.sd_pa, settles_within_s=COOLS_S)
    if fit is None:
        return PressureHold("inconclusive", "too few readings to tell a fall from their scatter")
    low, high = float(fit.ci95[0] - room), float(fit.ci95[1] + room)
    smallest = float(max((fit.ci95[1] - fit.ci95[0]) / 2.0 * POWER + room, 1e-6))
    verdict, why = _verdict(fit.rate_pa_per_s, low, high, wanted)
    still = _still(verdict, high, float(t_s[-1] - t_s[0]), wanted)
    leak = _throughput(fit.rate_pa_per_s, volume_ml)
    return PressureHold(verdict, why, fit.rate_pa_per_s, (low, high), leak, smallest, still)


def _gross(t_s: np.ndarray, at_first: np.ndarray, volume_ml: float | None, share: float) -> PressureHold | None:
    """A leak so large that the pressure runs out: its course bends and would pass for one that levels off."""
    if len(t_s) < 40 or t_s[-1] - t_s[0] < GROSS_S:
        return None
    tenth, middle = len(t_s) // 10, len(t_s) // 2
    places = (slice(0, tenth), slice(middle - tenth // 2, middle + tenth // 2), slice(-tenth, None))
    t, p = ([float(np.mean(values[place])) for place in places] for values in (t_s, at_first))
    if p[0] - p[2] < share * p[0]:
        return None
    rates = [(p[i] - p[j]) / (t[j] - t[i]) for i, j in ((0, 2), (0, 1), (1, 2))]
    why = (
        f"the pressure fell by {(p[0] - p[2]) / 1e3:.0f} kPa, more than cooling gas does, at {rates[0]:.3g} Pa/s: find "
        "it with bubbles or a detector"
    )
    return PressureHold(
        "leak", why, rates[0], (min(rates), max(rates)), _throughput(rates[0], volume_ml), seconds_still=0.0
    )


def _throughput(fall_pa_per_s: float, volume_ml: float | None) -> float | None:
    return None if volume_ml is None else throughput_pa_m3_per_s(max(fall_pa_per_s, 0.0), volume_ml)


def _still(verdict: str, high: float, lasted_s: float, wanted: float) -> float | None:
    """What a probe leaves open narrows with time itself, the slowest of all; nobody waits longer than a day."""
    if verdict != "inconclusive":
        return 0.0
    still = max(lasted_s * (high / wanted) - lasted_s, 60.0)
    return still if still < LONGEST_WAIT_S else None


def _verdict(rate: float, low: float, high: float, wanted: float) -> tuple[str, str]:
    if low > 0.0:
        return (
            "leak",
            f"corrected for temperature the pressure falls by {rate:.3g} Pa/s: find it with bubbles or a detector",
        )
    if high < wanted:
        bound = max(high, 1e-3)
        return "tight", f"no fall above {bound:.2g} Pa/s fits ({wanted:.2g} asked for); a smaller leak may be there"
    return "inconclusive", f"anything between no leak and a fall of {high:.2g} Pa/s fits: hold longer"
