"""Readings of a hold, a second each, thinned to few bins that know their own noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST_BINS = 120
SHORTEST_BIN_S = 5
NOISE_FLOOR_PA = 0.03
"""A tenth of a pascal of resolution, as a standard deviation."""


@dataclass(frozen=True, slots=True)
class Bins:
    """float64 (n,) each: middle of the bin in s, mean pressure in Pa with its standard deviation, mean temperature in
    °C."""

    t_s: np.ndarray
    p_pa: np.ndarray
    sd_pa: np.ndarray
    temp_c: np.ndarray | None


def thin(t_s: np.ndarray, p_pa: np.ndarray, temp_c: np.ndarray | None) -> Bins | None:
    """Bins of equally many readings; None when there are fewer than two bins.

    The noise comes from the scatter of neighbouring readings, so that no course of the pressure counts as noise.
    temp_c may hold NaN where no probe was read.
    """
    size = max(SHORTEST_BIN_S, -(-len(t_s) // MOST_BINS))
    bins = len(t_s) // size
    if bins < 2:
        return None
    kept = bins * size
    noise = _local_noise(p_pa)[:kept].reshape(bins, size).mean(axis=1)
    sd_pa = np.sqrt(noise / size + NOISE_FLOOR_PA**2 / size)
    return Bins(_means(t_s, bins, kept), _means(p_pa, bins, kept), sd_pa, _temperatures(temp_c, bins, kept))


def _means(values: np.ndarray, bins: int, kept: int) -> np.ndarray:
    return values[:kept].reshape(bins, -1).mean(axis=1)


def _temperatures(temp_c: np.ndarray | None, bins: int, kept: int) -> np.ndarray | None:
    if temp_c is None or not np.all(np.isfinite(temp_c[:kept])):
        return None
    return _means(temp_c, bins, kept)


def _local_noise(p_pa: np.ndarray) -> np.ndarray:
    """Variance of a single reading around each place, from squared differences of neighbours."""
    squares = np.diff(p_pa) ** 2 / 2.0
    squares = np.append(squares, squares[-1])
    reach = max(15, len(p_pa) // 12)
    total = np.concatenate([[0.0], np.cumsum(squares)])
    index = np.arange(len(squares))
    low, high = np.maximum(index - reach, 0), np.minimum(index + reach + 1, len(squares))
    return (total[high] - total[low]) / (high - low)
