"""Readings that left the trend, kept as residuals until it can be told what they are doing."""

from __future__ import annotations

from logger.measure.trend_filter import Trend

KEPT_S = 4.0
"""So much of a suspicion is looked at."""
SPIKE_SHARE = 3.0
"""A reading farther than this from between its neighbours, in distances of theirs, is a spike."""


class Suspicion:
    """Readings since one left the trend, as residuals against the trend gone on by itself."""

    def __init__(self, t_s: float, trend: Trend):
        self.onset_s = t_s
        self.before = trend.copy()
        self.t: list[float] = []
        self.r: list[float] = []
        self.back = 0
        self.peak_g = 0.0

    def add(self, t_s: float, residual_g: float, inside: bool, far_g: float) -> None:
        """Take in a residual; drops the one before it where that alone lay farther off than `far_g`."""
        if self.r and self._was_spike(residual_g, far_g):
            del self.t[-1], self.r[-1]
            if not self.r:
                self.onset_s = t_s
        self.t.append(t_s)
        self.r.append(residual_g)
        self.back = self.back + 1 if inside else 0
        if abs(residual_g) > abs(self.peak_g):
            self.peak_g = residual_g
        while self.t[0] < t_s - KEPT_S:
            del self.t[0], self.r[0]

    def _was_spike(self, residual_g: float, far_g: float) -> bool:
        before_g = self.r[-2] if len(self.r) > 1 else 0.0
        off_g = abs(self.r[-1] - (before_g + residual_g) / 2.0)
        return off_g > far_g and off_g > SPIKE_SHARE * abs(residual_g - before_g)
