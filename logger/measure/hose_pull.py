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
TRAVEL_S = 0.45
"""A hand turns a valve within this."""
FLOW_SD_G_PER_S = 20.0
SEARCH_S = (-3.0, 1.5)
"""Where, from the moment named, the valve may have been turned."""
VARIANCE_LEAST_G2 = 0.02
STEP_S = 0.1
READINGS_LEAST = 12
MISFIT = 4.0
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


def estimate_pull(t_s: np.ndarray, gross_g: np.ndarray, about_s: float, noise_g2: float, prior: Pull) -> Pull:
    """The pull from readings `gross_g` at `t_s` around a valve's opening near `about_s`.

    Their scatter is taken from the best fit itself; where that is far above their noise something else went on, and
    where they are few nothing can be told: then `prior`.
    """
    if len(t_s) < READINGS_LEAST:
        return prior
    y = gross_g - gross_g[0]
    designs = [(_design(t_s, moment)) for moment in about_s + np.arange(*SEARCH_S, STEP_S)]
    variance = min(_scatter(design, y) for design in designs)
    if variance > MISFIT * noise_g2:
        return prior
    fits = [_fit(design, y, variance, prior) for design in designs]
    evidence = np.array([fit[0] for fit in fits])
    weight = np.exp(evidence - evidence.max())
    weight /= weight.sum()
    means, variances = np.array([fit[1] for fit in fits]), np.array([fit[2] for fit in fits])
    mean = float(weight @ means)
    return Pull(mean, U_GROWN * float(np.sqrt(weight @ (variances + (means - mean) ** 2))))


def _design(t_s: np.ndarray, opened_s: float) -> np.ndarray:
    """Columns: rest level, pull, mass poured by unit flow, were the valve opened at `opened_s`."""
    turned = np.clip((t_s - opened_s) / TRAVEL_S, 0.0, 1.0)
    poured = np.where(turned < 1.0, turned * turned * TRAVEL_S / 2.0, t_s - opened_s - TRAVEL_S / 2.0)
    return np.column_stack([np.ones_like(t_s), turned, -np.maximum(poured, 0.0)])


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
