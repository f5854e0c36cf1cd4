"""A straight line through known values and the codes a sensor gave for them, or the reason why there is none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


class CalibrationError(ValueError):
    """A set of points that must not become a calibration; one line that says why and what to do."""


@dataclass(frozen=True, slots=True)
class KnownPoint:
    """A known value and the steady code seen for it: mean of `n` readings with standard deviation `sd`."""

    value: float
    code: float
    sd: float = 0.0
    n: int = 1


@dataclass(frozen=True, slots=True)
class CalibrationFit:
    """value = slope · code + offset, by least squares.

    residuals: fit less known value, in the value's unit, in the order of the points. std_uncertainty: of a value read
    with this line inside the span: residual scatter (n - 2 degrees of freedom; None for two points, which leave none)
    and the repeatability of the points. limit: what a residual may be at most.
    """

    slope: float
    offset: float
    residuals: tuple[float, ...]
    std_uncertainty: float | None
    repeatability: float
    limit: float

    def points(self, codes: Sequence[float]) -> list[list[float]]:
        """The line as (code, value) pairs for a cart file."""
        return [[float(code), self.slope * code + self.offset] for code in codes]


def fit_calibration(points: Sequence[KnownPoint], limit: float, rising: bool = True) -> CalibrationFit:
    """Fit a line. limit: largest residual to accept. rising: codes must grow with the value.

    Raises CalibrationError for too few or equal points, points in the wrong order, or a residual beyond the limit.
    """
    _check_points(points, rising)
    codes = np.array([p.code for p in points])
    values = np.array([p.value for p in points])
    centre = codes.mean()
    slope = float(np.sum((codes - centre) * (values - values.mean())) / np.sum((codes - centre) ** 2))
    offset = float(values.mean() - slope * centre)
    residuals = slope * codes + offset - values
    worst = int(np.argmax(np.abs(residuals)))
    if abs(residuals[worst]) > limit:
        raise CalibrationError(
            f"not a straight line: the point at {values[worst]:g} lies {residuals[worst]:+.3g} off, more than "
            f"±{limit:.3g}; look for a hose or stop that touches, a wrong mass, or an overloaded sensor, and repeat"
        )
    freedom = len(points) - 2
    repeatability = abs(slope) * math.sqrt(sum(p.sd**2 / p.n for p in points) / len(points))
    scatter = math.sqrt(float(np.sum(residuals**2)) / freedom) if freedom else None
    uncertainty = None if scatter is None else math.hypot(scatter, repeatability)
    return CalibrationFit(slope, offset, tuple(map(float, residuals)), uncertainty, repeatability, limit)


def _check_points(points: Sequence[KnownPoint], rising: bool) -> None:
    if len(points) < 2:
        raise CalibrationError("too few points: an empty reading and one known value are the least, three are better")
    if not all(math.isfinite(p.value) and math.isfinite(p.code) for p in points):
        raise CalibrationError("a point without a finite value and code; repeat it")
    ordered = sorted(points, key=lambda p: p.value)
    steps = [(a, b) for a, b in zip(ordered, ordered[1:], strict=False)]
    for a, b in steps:
        if a.value == b.value:
            raise CalibrationError(f"two points say {a.value:g}; give every point another value")
        noise = 5 * math.hypot(a.sd, b.sd)
        if abs(b.code - a.code) <= noise:
            raise CalibrationError(
                f"from {a.value:g} to {b.value:g} the code moves {b.code - a.code:+.0f}, no more than its own noise; "
                "check that the sensor is connected and the load is really on it"
            )
    signs = [b.code > a.code for a, b in steps]
    if rising and not any(signs):
        raise CalibrationError(
            "reversed: codes fall as the value rises; swap the sensor's two signal wires, or the points were entered "
            "in the wrong order"
        )
    if len(set(signs)) > 1:
        odd = steps[signs.index(signs.count(True) < len(signs) / 2)]
        raise CalibrationError(
            f"reversed between {odd[0].value:g} and {odd[1].value:g}: the code goes the other way there; "
            "two points were probably exchanged, repeat both"
        )
