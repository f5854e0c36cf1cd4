"""The last seconds of the scale, kept so that a person at the page can have a resting reading of it."""

from __future__ import annotations

import math
import threading
from collections import deque
from collections.abc import Callable

import numpy as np

from firmware_bridge.blocks import Block
from firmware_bridge.clock import Clock

WINDOW_S = 2.0
LEAST_READINGS = 8
PATIENCE_S = 6.0
LOOK_REAL_S = 0.1
ROUNDING_G = 0.05


class UnrestingError(ValueError):
    """The scale gives nothing, or moves; one line with the mend."""


class RecentScale:
    """`take` from the source's thread, `rest` from any other."""

    def __init__(self, clock: Clock, pause: Callable[[float], object]):
        self._clock, self._pause = clock, pause
        self._lock = threading.Lock()
        self._kept: deque[tuple[float, float]] = deque()

    def take(self, blocks: list[Block]) -> None:
        """Readings in clock time; those of the scale that are valid are kept for a while."""
        new = [pair for b in blocks if b.channel == "scale" for pair in zip(b.t_s, b.value, strict=True)]
        if not new:
            return
        with self._lock:
            self._kept.extend((float(t), float(v)) for t, v in new if math.isfinite(v))
            while self._kept and self._kept[0][0] < new[-1][0] - WINDOW_S:
                self._kept.popleft()

    def rest(self) -> float:
        """The mean (g) of two seconds in which the scale rested, from now on: what was read before may be of what stood
        there before. Raises UnrestingError."""
        asked_s = self._clock.now()
        end_s = asked_s + PATIENCE_S
        while (found := self._rested(max(asked_s, self._clock.now() - WINDOW_S))) is None:
            if self._clock.now() > end_s:
                raise UnrestingError(
                    "the scale does not come to rest, or gives no reading: take hands and hoses off it, then try again"
                )
            self._pause(LOOK_REAL_S)
        return found

    def _rested(self, from_s: float) -> float | None:
        """The mean since `from_s`, once that is a whole window and its halves agree within three standard errors."""
        if self._clock.now() - from_s < WINDOW_S:
            return None
        with self._lock:
            pairs = [pair for pair in self._kept if pair[0] >= from_s]
        if len(pairs) < LEAST_READINGS:
            return None
        values = np.array([value for _, value in pairs])
        first, second = np.array_split(values, 2)
        error = math.sqrt(first.var(ddof=1) / len(first) + second.var(ddof=1) / len(second))
        return float(values.mean()) if abs(second.mean() - first.mean()) <= 3 * error + ROUNDING_G else None
