"""How a scale wanders: drift over its check weights, settling after switching on, and with temperature.

Ordinary least squares throughout; intervals are 95 % by Student's t.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firmware_bridge.calibration import Line, fit_line
from logger.measure.scale_check import CheckWeight, ScaleClass, oiml_mpe_g

_T_975 = (12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131)
"""Student's t, two-sided 95 %, for 1 … 15 degrees of freedom (any statistics table); beyond, see `student_t`."""


SAME_DAY = 0.5
"""Days within which two readings of the empty platform belong together."""


@dataclass(frozen=True, slots=True)
class DriftVerdict:
    """Whether check weights wander: code is ``scale-drift`` or None; message says what was seen and what to do."""

    code: str | None
    error_g: float
    g_per_day: float | None
    days_to_limit: float | None
    message: str


@dataclass(frozen=True, slots=True)
class WarmUp:
    """Zero after switching on: final + amplitude · exp(-t/tau); ready_s is when what is left falls under the limit."""

    final_g: float
    amplitude_g: float
    tau_s: float
    ready_s: float


def judge_drift(checks: Sequence[CheckWeight], scale_class: ScaleClass, e_g: float) -> DriftVerdict:
    """Judge check weights, oldest first: the last one beyond the in-service error, or a sure trend that gets there."""
    if not checks:
        raise ValueError("no check weight was ever weighed on this scale")
    last = checks[-1]
    limit = oiml_mpe_g(scale_class, e_g, last.nominal_g)
    if abs(last.error_g) > limit:
        message = f"the check weight reads {last.error_g:+.1f} g, beyond ±{limit:g} g; calibrate before the next charge"
        return DriftVerdict("scale-drift", last.error_g, None, None, message)
    if len(checks) < 3 or len({c.day for c in checks}) < 3:
        return DriftVerdict(None, last.error_g, None, None, f"within ±{limit:g} g; a trend needs three days")
    line = fit_line([c.day for c in checks], [c.error_g for c in checks], centre=last.day)
    if not abs(line.slope) > slope_ci95(line, len(checks)):
        return DriftVerdict(None, last.error_g, line.slope, None, f"within ±{limit:g} g, no sure trend")
    days = max((math.copysign(limit, line.slope) - line.value_at_centre) / line.slope, 0.0)
    message = f"the check weight wanders by {line.slope:+.2g} g a day and would leave ±{limit:g} g in {days:.0f} days"
    return DriftVerdict("scale-drift" if days <= 30 else None, last.error_g, line.slope, days, message)


def judge_zero(zeros: Sequence[tuple[float, float]], scale_class: ScaleClass, e_g: float) -> DriftVerdict:
    """Judge what the empty platform read, (day, g) oldest first: how far it came back to what it read before.

    The two newest of one day count: from day to day a zero may wander, a charge hangs on differences within the hour.
    Limit: the error permitted in service at no load (OIML R 76-1 table 6).
    """
    limit = oiml_mpe_g(scale_class, e_g, 0.0)
    if len(zeros) < 2 or zeros[-1][0] - zeros[-2][0] > SAME_DAY:
        return DriftVerdict(
            None, 0.0, None, None, "not judged: weigh the empty platform twice in a day, or a check weight"
        )
    moved, hours = zeros[-1][1] - zeros[-2][1], 24.0 * (zeros[-1][0] - zeros[-2][0])
    if abs(moved) <= limit:
        return DriftVerdict(None, moved, None, None, f"the empty platform returns within ±{limit:g} g")
    message = (
        f"the empty platform reads {moved:+.1f} g off what it read {hours:.1f} h before, beyond ±{limit:g} g: "
        "let it warm up, free it from hoses and dirt, then weigh a check weight"
    )
    return DriftVerdict("scale-drift", moved, None, None, message)


def slope_ci95(line: Line, points: int) -> float:
    """Half-width of the 95 % interval of a line's slope, fitted to `points` points; infinite for two."""
    return math.inf if line.u_slope is None else student_t(points - 2) * line.u_slope


def temperature_coefficient(temp_c: Sequence[float], zero_g: Sequence[float], reference_c: float = 20.0) -> Line:
    """How the empty platform reads against temperature: g at `reference_c`, and g/K. Raises ValueError under 3 K of
    span, which would make noise look like temperature."""
    if len(temp_c) < 3 or max(temp_c) - min(temp_c) < 3.0:
        raise ValueError("a temperature coefficient needs three readings over 3 K at least")
    return fit_line(temp_c, zero_g, centre=reference_c)


def warm_up(t_s: Sequence[float], zero_g: Sequence[float], limit_g: float) -> WarmUp:
    """Fit the settling of an unloaded platform after switching on, by a search over tau with a linear fit at each.

    limit_g: what may be left of the wandering when the scale is called warm. Raises ValueError under five readings.
    """
    t, y = np.asarray(t_s, float), np.asarray(zero_g, float)
    if len(t) < 5 or not t[-1] > t[0] or limit_g <= 0:
        raise ValueError("a warm-up needs five readings in order of time and a limit above zero")
    taus = np.geomspace((t[-1] - t[0]) / 50, t[-1] - t[0], 120)
    fits = [_exponential(t, y, tau) for tau in taus]
    best = int(np.argmin([rest for _, _, rest in fits]))
    final, amplitude, _ = fits[best]
    ready = taus[best] * math.log(max(abs(amplitude) / limit_g, 1.0))
    return WarmUp(final, amplitude, float(taus[best]), float(ready))


def _exponential(t: np.ndarray, y: np.ndarray, tau: float) -> tuple[float, float, float]:
    design = np.column_stack([np.ones_like(t), np.exp(-t / tau)])
    solution, *_ = np.linalg.lstsq(design, y, rcond=None)
    return float(solution[0]), float(solution[1]), float(np.sum((design @ solution - y) ** 2))


def student_t(freedom: int) -> float:
    """Student's t for 95 %, two-sided: tabled to 15 degrees of freedom, then Fisher's expansion about the normal."""
    if freedom <= len(_T_975):
        return _T_975[freedom - 1]
    z = 1.959964
    return z + (z**3 + z) / (4 * freedom) + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * freedom**2)
