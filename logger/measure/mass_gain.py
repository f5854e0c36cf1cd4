"""A container that gains mass: told from hands, bumps and lifts by its straightness."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

WINDOWS = ((4, 3.0), (6, 3.4), (10, 4.0))
"""Seconds looked at and the least gain in g over them: a fast backflow is told in four, a slow one in ten. When a valve
closes, the hose under pressure lets go of the platform by up to about 2 g."""

NOISE_SIGMA = 5.0
"""A gain must stand so far out of what the masses' own noise would show."""
BEFORE_S = 5
STRAIGHT_G = 0.6
STRAIGHT_SHARE = 0.12
FASTEST_G_PER_S = 25.0
START_G = 12.0


def gains(mass: Sequence[float], noise_g: float) -> bool:
    """Whether the last seconds' masses (g, one a second, oldest first, each with that noise) rise steadily from where
    they were before."""
    return any(_rises(mass, n, max(least_g, NOISE_SIGMA * noise_g * _gain_sd(n))) for n, least_g in WINDOWS)


def _gain_sd(n: int) -> float:
    """Standard deviation of the gain over `n` masses by a line through them, for unit noise."""
    return sqrt(12.0 * (n - 1) / (n * (n + 1)))


def ended(mass: Sequence[float]) -> bool:
    """Whether the mass has stopped rising."""
    recent = mass[-4:]
    return len(recent) == 4 and recent[-1] - recent[0] < 0.9


def _rises(mass: Sequence[float], seconds: int, least_g: float) -> bool:
    if len(mass) < seconds + BEFORE_S:
        return False
    window, before = mass[-seconds:], sorted(mass[-seconds - BEFORE_S : -seconds])
    slope, worst = line(window)
    gain = slope * (seconds - 1)
    if gain < least_g or slope > FASTEST_G_PER_S:
        return False
    from_where_it_was = abs(window[0] - before[BEFORE_S // 2]) < START_G + 2.0 * slope
    return from_where_it_was and worst < max(STRAIGHT_G, STRAIGHT_SHARE * gain) and _all_up(window)


def _all_up(window: Sequence[float]) -> bool:
    """Each third of the window lies above the one before: a step that stays does not."""
    third = len(window) // 3 or 1
    return window[third] > window[0] and window[-1 - third] > window[third] - 0.3 and window[-1] > window[-1 - third]


def line(values: Sequence[float]) -> tuple[float, float]:
    """Least-squares slope a step, and the largest distance from the line."""
    n = len(values)
    middle, mean = (n - 1) / 2.0, sum(values) / n
    slope = sum((i - middle) * (v - mean) for i, v in enumerate(values)) / sum((i - middle) ** 2 for i in range(n))
    return slope, max(abs(v - mean - slope * (i - middle)) for i, v in enumerate(values))
