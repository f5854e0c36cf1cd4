"""A container at rest: the mean of its readings while nothing flows and nothing touches it."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from math import sqrt

WINDOW_S = 30.0
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
    """Readings at rest; keeps the newest `WINDOW_S` of them, or with `oldest` the first."""

    def __init__(self, oldest: bool = False):
        self._rows: deque[tuple[float, float]] = deque()
        self._oldest = oldest

    def __len__(self) -> int:
        return len(self._rows)

    def clear(self) -> None:
        self._rows.clear()

    def add(self, t_s: float, gross_g: float) -> None:
        rows = self._rows
        if self._oldest:
            if not rows or t_s <= rows[0][0] + WINDOW_S:
                rows.append((t_s, gross_g))
            return
        rows.append((t_s, gross_g))
        while rows[0][0] < t_s - WINDOW_S:
            rows.popleft()

    def plateau(self, until_s: float | None = None) -> Plateau | None:
        """The mean of what lies at or before `until_s` (None: of all), None where that is nothing."""
        rows = [row for row in self._rows if until_s is None or row[0] <= until_s]
        if not rows:
            return None
        n = len(rows)
        mean = sum(row[1] for row in rows) / n
        spread = sqrt(sum((row[1] - mean) ** 2 for row in rows) / max(n - 1, 1))
        span_s = rows[-1][0] - rows[0][0]
        independent = max(1.0, min(n, span_s * INDEPENDENT_PER_S))
        return Plateau(rows[0][0], rows[-1][0], mean, max(spread, 0.5 if n < 3 else 0.0) / sqrt(independent), n)
