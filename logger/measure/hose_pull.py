"""What the hose's pull adds to the platform while it is under pressure, read off the moment the valve was opened.

A valve that opens makes the readings fall along a line; a hose that stiffens makes them jump. Over the few readings of
the change the two look alike, so that the jump is estimated as a Bayesian would: a normal prior (no pull, or what
earlier openings said), least squares for rest level, pull and flow at each moment the valve may have been opened, and
the moments weighed by their likelihood (Bishop, Pattern Recognition and Machine Learning, 3.3: Bayesian linear
regression). Run backwards in time it reads the closing of a valve the same way.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

PRIOR_SD_G = 1.5
"""Spread of the pull from cart to cart (common practice, no source)."""
TRAVELS_S = (0.3, 0.6)
"""In how long a hand may turn a valve; which it was, the readings say as far as they can."""
STIFFENS_S = 0.4
FLOW_SD_G_PER_S = 20.0
SEEN_EARLY_S, SEEN_LATE_LEAST_S, SEEN_LATE_MOST_S, SEEN_G = 1.6, 2.0, 8.0, 5.0
"""A flow is seen, or missed, once it has moved a few grams: so much later than its valve was turned."""
VARIANCE_LEAST_G2 = 0.02
MOMENTS = 48
"""So many moments are tried: the stronger the flow, the narrower they lie."""
READINGS_LEAST = 12
MISFIT, INCREDIBLE = 4.0, 4.0
U_GROWN = 1.25
"""The model is not the valve: its uncertainty is grown to what own fills showed."""


@dataclass(frozen=True, slots=True)
class Pull:
    """What the pressurised hose adds to the reading, in g, with its standard uncertainty."""

    pull_g: float = 0.0
    u_g: float = PRIOR_SD_G

    @property
    def confidence(self) -> float:
        """The probability that it has the sign it seems to have."""
        return NormalDist().cdf(abs(self.pull_g) / self.u_g)


def turned_between(seen_s: float, flow_g_per_s: float) -> tuple[float, float]:
    """When a valve may have been turned whose flow was seen to begin, or to end, at `seen_s`."""
    late_s = min(max(1.0 + SEEN_G / max(flow_g_per_s, 0.1), SEEN_LATE_LEAST_S), SEEN_LATE_MOST_S)
    return seen_s - late_s, seen_s + SEEN_EARLY_S


def estimate_pull(
    t_s: np.ndarray, gross_g: np.ndarray, between_s: tuple[float, float], noise_g2: float, prior: Pull
) -> Pull:
    """The pull from readings `gross_g` at `t_s` around a valve's opening at some moment of `between_s`.

    Their scatter is taken from the best fit itself; where that is far above their noise something else went on, and
    where they are few nothing can be told: then `prior`.
    """
    if len(t_s) < READINGS_LEAST:
        return prior
    y = gross_g - gross_g[0]
    moments = np.linspace(*between_s, MOMENTS)
    designs = [_design(t_s, moment, travel) for travel in TRAVELS_S for moment in moments]
    variance = min(_scatter(design, y) for design in designs)
    if variance > MISFIT * noise_g2:
        return prior
    fits = [_fit(design, y, variance, prior) for design in designs]
    evidence = np.array([fit[0] for fit in fits])
    weight = np.exp(evidence - evidence.max())
    weight /= weight.sum()
    means, variances = np.array([fit[1] for fit in fits]), np.array([fit[2] for fit in fits])
    mean = float(weight @ means)
    if abs(mean) > INCREDIBLE * PRIOR_SD_G:
        return prior
    return Pull(mean, U_GROWN * float(np.sqrt(weight @ (variances + (means - mean) ** 2))))


def _design(t_s: np.ndarray, opened_s: float, travel_s: float) -> np.ndarray:
    """Columns: rest level, pull, mass poured by unit flow, were the valve opened from `opened_s` on in `travel_s`.

    The hose stiffens as soon as there is any pressure in it; the flow grows with the opening.
    """
    since = t_s - opened_s
    stiff = np.clip(since / STIFFENS_S, 0.0, 1.0)
    turned = np.clip(since / travel_s, 0.0, 1.0)
    poured = np.where(turned < 1.0, turned * turned * travel_s / 2.0, since - travel_s / 2.0)
    return np.column_stack([np.ones_like(t_s), stiff, -np.maximum(poured, 0.0)])


def _scatter(design: np.ndarray, y: np.ndarray) -> float:
    """Variance of the readings about their least squares fit."""
    found, *_ = np.linalg.lstsq(design, y, rcond=None)
    residual = y - design @ found
    return max(float(residual @ residual) / max(len(y) - 4, 1), VARIANCE_LEAST_G2)


def _fit(design: np.ndarray, y: np.ndarray, variance: float, prior: Pull) -> tuple[float, float, float]:
    """(log evidence, pull, its variance)."""
    weights = np.array([1e-6, 1.0 / prior.u_g**2, 1.0 / FLOW_SD_G_PER_S**2])
    expected = np.array([0.0, prior.pull_g, 0.0])
    precision = design.T @ design / variance + np.diag(weights)
    covariance = np.linalg.inv(precision)
    found = covariance @ (design.T @ y / variance + weights * expected)
    residual = y - design @ found
    misfit = residual @ residual / variance + weights @ (found - expected) ** 2
    evidence = -0.5 * (misfit + np.linalg.slogdet(precision)[1])
    return float(evidence), float(found[1]), float(covariance[1, 1])
