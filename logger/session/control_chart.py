"""Control charts of individual values and their moving range (Shewhart; ISO 7870-2:2013, without given values)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

D2 = 1.128
"""Mean range of two normal values, in standard deviations (ISO 7870-2, n = 2)."""

E2 = 2.66
"""3 / d2: from the mean moving range to the limits of individuals."""

D4 = 3.267
"""From the mean moving range to its own upper limit (n = 2); the lower one is 0."""

FEWEST = 8
"""Below this many values the limits are shown as provisional (our choice; common practice asks for 20)."""


@dataclass(frozen=True, slots=True)
class ControlChart:
    """Individuals in order with their limits; `outside` holds the places beyond them, in values or moving ranges."""

    values: tuple[float, ...]
    moving_ranges: tuple[float, ...]
    mean: float
    mean_range: float
    sigma: float
    lower: float
    upper: float
    range_upper: float
    outside: tuple[int, ...]
    provisional: bool


def control_chart(values: Sequence[float]) -> ControlChart | None:
    """The chart of `values` in their order; None for fewer than two."""
    if len(values) < 2:
        return None
    ranges = [abs(b - a) for a, b in zip(values, values[1:], strict=False)]
    mean, mean_range = fmean(values), fmean(ranges)
    lower, upper, range_upper = mean - E2 * mean_range, mean + E2 * mean_range, D4 * mean_range
    beyond = {k for k, value in enumerate(values) if not lower <= value <= upper}
    beyond |= {k for k, moved in enumerate(ranges, 1) if moved > range_upper}
    return ControlChart(
        tuple(values),
        tuple(ranges),
        mean,
        mean_range,
        mean_range / D2,
        lower,
        upper,
        range_upper,
        tuple(sorted(beyond)),
        len(values) < FEWEST,
    )
