"""A container at rest: the mean of its readings while nothing flows and nothing touches it."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from itertools import islice
from math import sqrt

WINDOW_S = 30.0
FEW_SPREAD_G = 0.5
"""What is taken as scatter where too few readings tell it."""
INDEPENDENT_PER_S = 4.0
"""Neighbouring readings share the engine's vibration: so many a second count as independent (measured, own fills)."""


@dataclass(frozen=True, slots=True)
class Plateau:
    """Gross mass in g with its standard uncertainty (type A, JCGM 100 4.2.3) over from_t_s..to_t_s."""

    from_t_s: float
    to_t_s: float
    gross_g: float
    u_g: float
    readings: int


class PlateauWindow:
    """Readings at rest; keeps the newest `WINDOW_S` of them, or with `oldest` the first.

    Sums are carried along from the first reading's level, so that the mean of the whole window costs nothing.
    """

    def __init__(self, oldest: bool = False):
        self._oldest = oldest
        self.clear()

    def __len__(self) -> int:
        return len(self._rows)

    def clear(self) -> None:
        self._rows: deque[tuple[float, float]] = deque()
        self._base_g = 0.0
        self._sum = 0.0
        self._square = 0.0

    def add(self, t_s: float, gross_g: float) -> None:
        rows = self._rows
        if not rows:
            self._base_g = gross_g
        elif self._oldest and t_s > rows[0][0] + WINDOW_S:
            return
        rows.append((t_s, gross_g))
        away = gross_g - self._base_g
        self._sum += away
        self._square += away * away
        while rows[0][0] < t_s - WINDOW_S:
            away = rows.popleft()[1] - self._base_g
            self._sum -= away
            self._square -= away * away

    def mean_g(self) -> float:
        """Mean of a window that is not empty."""
        return self._base_g + self._sum / len(self._rows)

    def scatter_g2(self) -> float:
        """Variance of the readings; 0 where there are not two."""
        n = len(self._rows)
        return max(self._square / n - (self._sum / n) ** 2, 0.0) * n / (n - 1) if n > 1 else 0.0

    def plateau(self) -> Plateau | None:
        """The mean of all there is, None where that is nothing."""
        rows, n = self._rows, len(self._rows)
        if not n:
            return None
        return _plateau(rows[0][0], rows[-1][0], self._base_g + self._sum / n, sqrt(self.scatter_g2()), n)

    def plateau_until(self, until_s: float) -> Plateau | None:
        """The mean of what lies at or before `until_s`."""
        early = PlateauWindow()
        for t_s, gross_g in self._rows:
            if t_s <= until_s:
                early.add(t_s, gross_g)
        return early.plateau()

    def tail(self, count: int) -> list[tuple[float, float]]:
        """The newest `count` readings as (t_s, gross_g), oldest first."""
        return list(islice(reversed(self._rows), count))[::-1]


def _plateau(from_s: float, to_s: float, mean_g: float, spread_g: float, n: int) -> Plateau:
    independent = max(1.0, min(n, (to_s - from_s) * INDEPENDENT_PER_S))
    return Plateau(from_s, to_s, mean_g, max(spread_g, FEW_SPREAD_G if n < 3 else 0.0) / sqrt(independent), n)
