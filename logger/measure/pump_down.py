"""Numbers of one evacuation: the curve, pumping speed, time below levels, lowest pressure."""

from __future__ import annotations

import math
from collections import deque

from logger.measure.atmosphere import gauge_vacuum_inhg, micron

LEVELS_PA = (2027, 267, 133, 67)
"""98 % free of air (SAE J2788, 9.1: our reading of it), 2000, 1000 and 500 micron (trade practice, no source)."""

SMOOTH_S = 21
CURVE_POINTS = 400
ROUGH_PA = (5_000.0, 60_000.0)
"""Where a pump's speed is constant and the low-side transducer reads well."""


FEWEST_S = 8
STALL_S, STALL_FALL = 12, 0.03


class Lowest:
    """Lowest mean over SMOOTH_S seconds, so that a sensor's noise does not pass for depth."""

    def __init__(self):
        self.pa = math.inf
        self._recent: deque[float] = deque(maxlen=SMOOTH_S)

    def add(self, p_pa: float) -> float:
        """Take a second in; the smoothed pressure."""
        self._recent.append(p_pa)
        smooth = sum(self._recent) / len(self._recent)
        if len(self._recent) == SMOOTH_S:
            self.pa = min(self.pa, smooth)
        return smooth

    def clear(self) -> None:
        """Something broke the vacuum: what comes is another stretch."""
        self._recent.clear()


class TimeBelow:
    """Seconds spent below each level."""

    def __init__(self):
        self.seconds = dict.fromkeys(LEVELS_PA, 0.0)

    def add(self, p_pa: float) -> None:
        for level in LEVELS_PA:
            if p_pa < level:
                self.seconds[level] += 1.0


class Curve:
    """The pump-down as few points: every second at first, thinned by half whenever it grows too long."""

    def __init__(self):
        self.points: list[tuple[float, float]] = []
        self._every, self._seen = 1, 0

    def add(self, t_s: float, p_pa: float) -> None:
        if self._seen % self._every == 0:
            self.points.append((t_s, p_pa))
            if len(self.points) >= CURVE_POINTS:
                self.points = self.points[::2]
                self._every *= 2
        self._seen += 1


class RoughPumping:
    """Pumping speed from the exponential fall of the low-side pressure: S = V d(-ln p)/dt, by least squares.

    A pressure that stands still (a pause, a recovery that has ended) begins the fall anew.
    """

    def __init__(self):
        self._t: list[float] = []
        self._ln_p: list[float] = []
        self._complete = False

    def add(self, t_s: float, p_pa: float) -> None:
        """Take one second in; after the first whole fall nothing more."""
        if self._complete:
            return
        if p_pa < ROUGH_PA[0]:
            self._complete = len(self._t) >= FEWEST_S
        elif p_pa > ROUGH_PA[1]:
            self._t, self._ln_p = [], []
        else:
            self._t.append(t_s)
            self._ln_p.append(math.log(p_pa))
            if len(self._t) > STALL_S and self._ln_p[-1] > self._ln_p[-1 - STALL_S] - STALL_FALL:
                self._t, self._ln_p = self._t[-1:], self._ln_p[-1:]

    def litres_per_s(self, volume_ml: float | None) -> tuple[float | None, str]:
        """Pumping speed at the circuit and how it came about, or None with the reason."""
        if volume_ml is None:
            return None, "the circuit's volume is not known"
        if len(self._t) < FEWEST_S:
            return None, "the fall from 60 to 5 kPa was not seen"
        per_s = -_slope(self._t, self._ln_p)
        if per_s <= 0.0:
            return None, "the pressure did not fall between 60 and 5 kPa"
        return volume_ml * 1e-3 * per_s, "from the fall between 60 and 5 kPa, through the hoses"


def _slope(x: list[float], y: list[float]) -> float:
    middle, mean = sum(x) / len(x), sum(y) / len(y)
    spread = sum((a - middle) ** 2 for a in x)
    return sum((a - middle) * (b - mean) for a, b in zip(x, y, strict=True)) / spread


def needle_words(lowest_pa: float, ambient_pa: float) -> str:
    """What a compound needle would have shown, and why it cannot tell dry from wet."""
    shown = gauge_vacuum_inhg(lowest_pa, ambient_pa)
    most = gauge_vacuum_inhg(0.0, ambient_pa)
    lost = gauge_vacuum_inhg(67.0, ambient_pa) - gauge_vacuum_inhg(2027.0, ambient_pa)
    return (
        f"A needle would have shown {shown:.2f} inHg of the {most:.2f} that ambient allows here today. Between 67 Pa "
        f"({micron(67.0):.0f} micron, dry) and 2027 Pa (boiling water) it moves by {lost:.2f} inHg, and with "
        f"altitude and "
        "weather by more: it cannot tell."
    )
