"""A pressure hold with dry nitrogen: the better leak test, corrected for temperature.

Nitrogen at a fixed volume follows p/T (ideal gas; at 1000 kPa and 25 °C five kelvin move it by 16.8 kPa), so what is
left after dividing by T is a leak. Stay within the maker's test pressure, with a regulator and a relief valve; never
oxygen or shop air.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.measure.hold_series import thin
from logger.measure.rise_models import fit_rise
from logger.measure.saturation import ZERO_C_K

SHORTEST_S = 600.0
PROBE_K = 0.1
"""How far a probe may move against the gas during the test; it limits what can be seen. From memory, low trust."""


@dataclass(frozen=True, slots=True)
class PressureHold:
    """verdict: "tight", "leak" or "inconclusive"; fall in Pa/s at the first temperature with its 95 % interval, and
    why."""

    verdict: str
    why: str
    fall_pa_per_s: float | None = None
    ci95: tuple[float, float] | None = None
    leak_pa_m3_per_s: float | None = None


def pressure_hold(
    t_s: np.ndarray, absolute_pa: np.ndarray, temp_c: np.ndarray | None, volume_ml: float | None, wanted_pa_per_s: float
) -> PressureHold:
    """Judge a hold under nitrogen: float64 (n,) each, a second apart; temp_c None or NaN without a probe on the
    circuit.

    wanted_pa_per_s: "tight" means that no faster fall fits.
    """
    if len(t_s) < 2 or t_s[-1] - t_s[0] < SHORTEST_S:
        return PressureHold(
            "inconclusive", f"hold for {SHORTEST_S / 60.0:.0f} minutes at least, gas and metal must even out"
        )
    if temp_c is None or not np.all(np.isfinite(temp_c)):
        return PressureHold(
            "inconclusive", "no temperature on the circuit: a kelvin moves nitrogen by a third of a percent"
        )
    at_first = absolute_pa * (temp_c[0] + ZERO_C_K) / (temp_c + ZERO_C_K)
    bins = thin(t_s, at_first, None)
    # A leak makes the pressure fall and warm gas that cools falls and levels off: mirrored, the models of a rise fit.
    fit = fit_rise(bins.t_s, at_first[0] - bins.p_pa, bins.sd_pa)
    room = PROBE_K / (temp_c[0] + ZERO_C_K) * float(absolute_pa[0]) / float(t_s[-1] - t_s[0])
    low, high = fit.ci95[0] - room, fit.ci95[1] + room
    verdict, why = _verdict(fit.rate_pa_per_s, low, high, wanted_pa_per_s)
    leak = None if volume_ml is None else max(fit.rate_pa_per_s, 0.0) * volume_ml * 1e-6
    return PressureHold(verdict, why, fit.rate_pa_per_s, (low, high), leak)


def _verdict(rate: float, low: float, high: float, wanted: float) -> tuple[str, str]:
    if low > 0.0:
        return (
            "leak",
            f"corrected for temperature the pressure falls by {rate:.3g} Pa/s: find it with bubbles or a detector",
        )
    if high < wanted:
        return "tight", f"no fall above {high:.2g} Pa/s fits ({wanted:.2g} asked for); a smaller leak may be there"
    return "inconclusive", f"anything between no leak and a fall of {high:.2g} Pa/s fits: hold longer"
