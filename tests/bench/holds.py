"""Holds with a known answer: pressure in a closed evacuated circuit as a deep-vacuum sensor would show it.

Noise (5 % of the reading at 2 Hz, steps of 0.1 Pa) and the course of the pressure are as in the shared recordings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.measure.water import saturation_pa


@dataclass(frozen=True)
class Hold:
    """kind: tight, leak or moisture; arrays of one second each."""

    kind: str
    leak_pa_per_s: float
    drift_k: float
    t_s: np.ndarray
    p_pa: np.ndarray
    temp_c: np.ndarray


def simulate_hold(rng: np.random.Generator, kind: str, leak: float, duration_s: int, drift_k: float) -> Hold:
    """One hold from the closing of the valve on; the pressure is integrated second by second."""
    t_s = np.arange(1.0, duration_s + 1.0)
    start_c = rng.uniform(8.0, 34.0)
    temp_c = start_c + drift_k * t_s / duration_s
    gas_pa = rng.uniform(8.0, 20.0) + leak * t_s + _outgassing(rng, t_s)
    water_pa = _water(rng, temp_c) if kind == "moisture" else 0.0
    true_pa = gas_pa * (temp_c + 273.15) / (start_c + 273.15) + water_pa
    noisy = true_pa * (1.0 + rng.normal(0.0, 0.05 / np.sqrt(2.0), duration_s))
    shown_c = np.round((temp_c + rng.normal(0.0, 0.05, duration_s)) * 16.0) / 16.0
    return Hold(kind, leak, drift_k, t_s, np.round(noisy, 1), shown_c)


def _outgassing(rng: np.random.Generator, t_s: np.ndarray) -> np.ndarray:
    amplitude, tau = rng.uniform(1.0, 15.0), rng.uniform(150.0, 700.0)
    if rng.random() < 0.2:
        return amplitude / 4.0 * np.log1p(t_s / rng.uniform(20.0, 100.0))
    return amplitude * (1.0 - np.exp(-t_s / tau))


def _water(rng: np.random.Generator, temp_c: np.ndarray) -> np.ndarray:
    share, tau = rng.uniform(0.2, 0.9), rng.uniform(150.0, 700.0)
    water_pa, out = 0.0, np.empty_like(temp_c)
    for index, temp in enumerate(temp_c):
        water_pa += (share * saturation_pa(temp) - water_pa) / tau
        out[index] = water_pa
    return out


def mixed_holds(count: int, seed: int) -> list[Hold]:
    """`count` holds: a third tight, half leaking 0.005…0.5 Pa/s, the rest moist; 15…45 min; a third drift by up to 8
    K."""
    rng = np.random.default_rng(seed)
    kinds = rng.choice(["tight", "leak", "moisture"], size=count, p=[0.35, 0.45, 0.2])
    holds = []
    for kind in kinds:
        leak = float(np.exp(rng.uniform(np.log(0.005), np.log(0.5)))) if kind == "leak" else 0.0
        drift = float(rng.choice([0.0, rng.uniform(-8.0, 8.0), 8.0], p=[0.5, 0.35, 0.15]))
        holds.append(simulate_hold(rng, str(kind), leak, int(rng.uniform(900, 2700)), drift))
    return holds
