"""How a pressure rises in a closed evacuated volume: straight (a leak), levelling off (outgassing, moisture), or both.

Models, each with a start p0 and weighted least squares:

    flat       p0
    linear     p0 + b t
    levelling  p0 + a s(t)          s = 1 - exp(-t/tau): moisture, desorption; or
    both       p0 + a s(t) + b t    s = ln(1 + t/t0) / ln(1 + end/t0): slow outgassing; a >= 0

They are compared by the corrected Akaike criterion (Burnham and Anderson, 2002) on the number of *independent*
readings. The rate b has a profile-likelihood interval over every shape s that the readings allow, widened by the
first-order autocorrelation of the residuals: a levelling too slow to be told from a leak widens it instead of passing
for one.

The caller corrects the gas for temperature (p/T). What levels off may be vapour in balance with something
wet, which follows the temperature by up to 7 %/K (slope of water's saturation pressure): where the temperature moved,
the interval is widened by what that could have added to the levelling part.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

FEWEST_POINTS = 12
VAPOUR_PER_K = 0.07
PARAMETERS = {"flat": 2, "linear": 3, "levelling": 4, "both": 5}
"""Free parameters of each model, the noise counted."""

SLOWEST_LOG_S = 900.0
"""Longest time constant of a logarithmic shape in a short hold: that of a pump-down, by which desorption has aged."""

HELD_BACK = 8.0
SLOW_PRIOR = 0.02
"""A logarithmic shape can stand in for almost anything, so it must fit clearly better: by this much in the misfit to be
named, and its weight in the mean rate. In the interval it counts in full."""

SLOWEST_S = 1200.0
"""Longest settling time that is looked for in a short hold: wet circuits settle in minutes (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class RiseFit:
    """What the readings say.

    best: the model with the lowest criterion; aicc: criterion of each model, relative to the best. rate_pa_per_s with
    its 95 % interval is the straight part, averaged over all shapes. amplitude_pa, settle_s and end_pa (where it
    levels off; None for the logarithmic shape, whose amplitude is that at the end) describe the levelling part of the
    best model that has one. rho: autocorrelation of the residuals.
    """

    best: str
    aicc: dict[str, float]
    rate_pa_per_s: float
    ci95: tuple[float, float]
    amplitude_pa: float
    settle_s: float | None
    end_pa: float | None
    rho: float
    points: int


@dataclass(frozen=True, slots=True)
class _Candidates:
    """One row for each shape tried: misfit, rate with its unscaled variance, amplitude, start, the fitted curve's
    residuals."""

    chi2: np.ndarray
    rate: np.ndarray
    rate_var: np.ndarray
    amplitude: np.ndarray
    residual: np.ndarray
    start: np.ndarray


def fit_rise(
    t_s: np.ndarray,
    p_pa: np.ndarray,
    sd_pa: np.ndarray,
    temperature_moved_k: float = 0.0,
    settles_within_s: float | None = None,
) -> RiseFit | None:
    """Fit all models to (n,) points with standard deviations `sd_pa`; None with fewer than FEWEST_POINTS points.

    temperature_moved_k: range of the circuit's temperature during the hold. settles_within_s: the longest settling
    time there can be, where nothing creeps as walls and oil do under vacuum; None for those.
    """
    if len(t_s) < FEWEST_POINTS:
        return None
    t_s = t_s - t_s[0]
    span = float(t_s[-1])
    tau = np.geomspace(max(span / 40.0, 10.0), settles_within_s or max(span, SLOWEST_S), 20)
    creep = -np.geomspace(span / 60.0, max(span, SLOWEST_LOG_S), 9) if settles_within_s is None else np.empty(0)
    coarse = np.concatenate([tau, creep])
    fits = _fit_all(t_s, p_pa, sd_pa, coarse)
    times = _fine_times(fits, coarse)
    return _conclude(_fit_all(t_s, p_pa, sd_pa, times), times, len(t_s), VAPOUR_PER_K * temperature_moved_k / span)


def _fine_times(fits: dict[str, _Candidates], times: np.ndarray) -> np.ndarray:
    """The coarse times and closer ones around the best of each family of shapes, in both models that level off."""
    closer = [times]
    for family in (times > 0.0, times < 0.0):
        mine = times[family]
        if not len(mine):
            continue
        best = {int(np.argmin(fits[name].chi2[family])) for name in ("levelling", "both")}
        step = mine[1] / mine[0]
        closer += [mine[index] * np.geomspace(1.0 / step, step, 13) for index in sorted(best)]
    return np.concatenate(closer)


def _shapes(t_s: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Levelling shapes (m, n) for times (m,), which are negative for the logarithmic ones; those end at 1."""
    scaled = t_s / times[:, None]
    slow = np.log1p(np.maximum(-scaled, 0.0))
    slow /= np.maximum(slow[:, -1:], 1e-12)
    return np.where(times[:, None] > 0.0, 1.0 - np.exp(-np.maximum(scaled, 0.0)), slow)


def _fit_all(t_s: np.ndarray, p_pa: np.ndarray, sd_pa: np.ndarray, times: np.ndarray) -> dict[str, _Candidates]:
    span = float(t_s[-1])
    flat = (1.0 / sd_pa)[:, None]
    straight = np.stack([1.0 / sd_pa, t_s / (span * sd_pa)], axis=1)
    y, shapes = p_pa / sd_pa, _shapes(t_s, times) / sd_pa
    return {
        "flat": _plain(flat, y, None),
        "linear": _plain(straight, y, span),
        "levelling": _shaped(flat, y, shapes, None),
        "both": _shaped(straight, y, shapes, span),
    }


def _plain(base: np.ndarray, y: np.ndarray, span: float | None) -> _Candidates:
    """Least squares on the base alone; its second column is the straight part where `span` is given."""
    q, r = np.linalg.qr(base)
    coefficient = np.linalg.solve(r, q.T @ y)
    residual = y - base @ coefficient
    inverse = np.linalg.inv(r)
    rate = coefficient[1] / span if span else 0.0
    variance = float(inverse[1] @ inverse[1]) / span**2 if span else 0.0
    return _Candidates(
        np.array([residual @ residual]),
        np.array([rate]),
        np.array([variance]),
        np.zeros(1),
        residual[None, :],
        coefficient[:1],
    )


def _shaped(base: np.ndarray, y: np.ndarray, shapes: np.ndarray, span: float | None) -> _Candidates:
    """Least squares on the base and, in turn, each shape with an amplitude of at least zero (Frisch-Waugh-Lovell)."""
    q, r = np.linalg.qr(base)
    inside = shapes @ q
    across = shapes - inside @ q.T
    y_across = y - q @ (q.T @ y)
    norm = np.maximum(np.einsum("ij,ij->i", across, across), 1e-30)
    amplitude = np.maximum(across @ y_across / norm, 0.0)
    residual = y_across - amplitude[:, None] * across
    inverse = np.linalg.inv(r)
    coefficient = (q.T @ y - amplitude[:, None] * inside) @ inverse.T
    rate = variance = np.zeros_like(amplitude)
    if span:
        rate = coefficient[:, 1] / span
        coupling = np.where(amplitude > 0.0, inside @ inverse[1], 0.0)
        variance = (inverse[1] @ inverse[1] + coupling**2 / norm) / span**2
    chi2 = np.einsum("ij,ij->i", residual, residual)
    return _Candidates(chi2, rate, variance, amplitude, residual, coefficient[:, 0])


def _conclude(fits: dict[str, _Candidates], times: np.ndarray, points: int, vapour_per_s: float) -> RiseFit:
    at = {name: int(np.argmin(fit.chi2)) for name, fit in fits.items()}
    full = fits["both"]
    rho = _autocorrelation(full.residual[at["both"]])
    inflation = (1.0 + rho) / (1.0 - rho)
    independent = max(points / inflation, 8.0)
    aicc = {name: _aicc(fits[name].chi2[at[name]], points, independent, PARAMETERS[name]) for name in fits}
    best = min(aicc, key=aicc.__getitem__)
    scale = max(full.chi2[at["both"]] / max(points - PARAMETERS["both"], 1) * inflation, 1e-9)
    low, high = _profile_interval(fits["linear"], full, scale, independent - PARAMETERS["both"])
    room = vapour_per_s * float(full.amplitude[at["both"]])
    rate = float(np.clip(_weighted_rate(fits["linear"], full, times, scale), low, high))
    relative = {name: float(value - aicc[best]) for name, value in aicc.items()}
    curved = fits["levelling" if aicc["levelling"] <= aicc["both"] else "both"]
    levelling = _levelling(curved, times, scale)
    return RiseFit(best, relative, rate, (low - room, high + room), *levelling, rho, points)


def _weighted_rate(linear: _Candidates, full: _Candidates, times: np.ndarray, scale: float) -> float:
    """Mean rate over all shapes, each with its likelihood (model averaging, Burnham and Anderson), the slow ones held
    back."""
    chi2, rate = np.append(full.chi2, linear.chi2), np.append(full.rate, linear.rate)
    prior = np.append(np.where(times > 0.0, 1.0, SLOW_PRIOR), 1.0)
    weight = prior * np.exp(-(chi2 - chi2.min()) / (2.0 * scale))
    return float(weight @ rate / weight.sum())


def _levelling(fit: _Candidates, times: np.ndarray, scale: float) -> tuple[float, float | None, float | None]:
    """Amplitude, settling time and end of the levelling part; logarithmic only where that fits clearly better."""
    index = int(np.argmin(fit.chi2 + np.where(times > 0.0, 0.0, HELD_BACK * scale)))
    amplitude, settle = float(fit.amplitude[index]), float(times[index])
    if settle <= 0.0:
        return amplitude, None, None
    return amplitude, settle, float(fit.start[index] + amplitude)


def _aicc(chi2: float, points: int, independent: float, parameters: int) -> float:
    likelihood = independent * math.log(max(chi2, 1e-12) / points)
    return likelihood + 2 * parameters + 2 * parameters * (parameters + 1) / max(independent - parameters - 1, 1.0)


def _autocorrelation(residual: np.ndarray) -> float:
    """First-order autocorrelation, never below zero, held under 0.95."""
    power = float(residual @ residual)
    rho = float(residual[1:] @ residual[:-1]) / power if power > 0 else 0.0
    return min(max(rho, 0.0), 0.95)


def _profile_interval(linear: _Candidates, full: _Candidates, scale: float, freedom: float) -> tuple[float, float]:
    """Every rate, over every shape, whose misfit lies within Student's 95 % of the least one."""
    chi2 = np.append(full.chi2, linear.chi2)
    rate, variance = np.append(full.rate, linear.rate), np.append(full.rate_var, linear.rate_var)
    student = 1.96 + 2.4 / max(freedom, 2.0)
    room = student**2 * scale - (chi2 - chi2.min())
    allowed = room >= 0.0
    half = np.sqrt(room[allowed] * variance[allowed])
    return float(np.min(rate[allowed] - half)), float(np.max(rate[allowed] + half))
