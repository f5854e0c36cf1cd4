"""From the stop alert to a closed valve: what a technician's past fills say of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

MAD_TO_SIGMA = 1.4826
"""From the median absolute deviation to the standard deviation of a normal spread."""

FEWEST = 5
NEWEST = 30
LEAST_S, MOST_S = 0.2, 8.0
"""No hand closes sooner after an alert: that valve was closing already. Whoever took longer did not close at the alert.
Neither says how long closing takes."""


@dataclass(frozen=True, slots=True)
class StopLag:
    """Median lag, its spread (one standard deviation, robust) and how many fills stand behind it."""

    lag_s: float
    spread_s: float
    fills: int


def learned_lag_s(history: Sequence[float]) -> StopLag | None:
    """The lag to expect, from lags in s, oldest first; None below five usable ones.

    Median and median absolute deviation of the newest thirty, so that a single slip moves neither. Only lags of an
    alert that was obeyed count (`LEAST_S` to `MOST_S`).
    """
    usable = [lag for lag in history if LEAST_S <= lag <= MOST_S][-NEWEST:]
    if len(usable) < FEWEST:
        return None
    middle = median(usable)
    return StopLag(middle, MAD_TO_SIGMA * median(abs(lag - middle) for lag in usable), len(usable))
