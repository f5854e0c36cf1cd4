"""A live sensor trembles in its last digits. One that did, and now gives the very same value on and on, is frozen: its
converter hangs, or its wire hangs at a level, though readings come in time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

SWINGS_DIGITS = 2.5
ALIVE_AFTER_S, ALIVE_MOST_S = 5, 10


class Second(NamedTuple):
    """One second's valid values. swing: highest less lowest; digit: smallest step between two that differ, 0 when none
    do; turns: it went both up and down."""

    first: float
    last: float
    swing: float
    digit: float
    turns: bool


class Tremor:
    """`frozen_after_s` seconds without the least change freeze a sensor that trembled by several digits before.

    A sensor too coarse to tremble is never judged: its value may well stand still.
    """

    def __init__(self, frozen_after_s: int = 10):
        self._after_s = frozen_after_s
        self._digit = 0.0
        self._alive_s = self._still_s = 0
        self._last: float | None = None

    @property
    def frozen(self) -> bool:
        """Whether it trembled, and has not moved for long."""
        return self._alive_s >= ALIVE_AFTER_S and self._still_s >= self._after_s

    @property
    def still_s(self) -> int:
        """Whole seconds without a change."""
        return self._still_s

    def update(self, second: Second) -> None:
        """Take in the next second that had valid values."""
        if second.swing == 0.0 and second.first == self._last:
            self._still_s += 1
            return
        self._still_s, self._last = 0, second.last
        if second.digit:
            self._digit = min(self._digit or second.digit, second.digit)
        trembles = second.turns and second.swing >= SWINGS_DIGITS * self._digit
        self._alive_s = min(self._alive_s + 1, ALIVE_MOST_S) if trembles else max(self._alive_s - 1, 0)


def tremors(value: np.ndarray, starts: np.ndarray) -> list[Second]:
    """A `Second` for each group of `value` (float64 (n,), all finite) that begins at one of `starts`."""
    first, last = value[starts], value[np.append(starts[1:], len(value)) - 1]
    swing = np.maximum.reduceat(value, starts) - np.minimum.reduceat(value, starts)
    step = np.diff(value, prepend=value[0])
    step[starts] = 0.0  # from one group into the next
    digit = np.minimum.reduceat(np.where(step == 0.0, np.inf, np.abs(step)), starts)
    turns = np.logical_or.reduceat(step > 0.0, starts) & np.logical_or.reduceat(step < 0.0, starts)
    columns = (first, last, swing, np.where(np.isinf(digit), 0.0, digit), turns)
    return [Second(*row) for row in zip(*(column.tolist() for column in columns), strict=True)]
