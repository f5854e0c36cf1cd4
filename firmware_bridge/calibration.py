"""From codes to values: the least-squares line through the calibration points, with its uncertainty.

Formulas: JCGM 100:2008 (GUM), Annex H.3, equations H.13: slope and intercept, their standard uncertainties from the
scatter about the line, and their correlation.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from firmware_bridge.blocks import INVALID_CODE

MAX_RESIDUAL = 0.2
"""A point this share of the whole span off the line is no scatter: two of its numbers were exchanged or mistyped."""


class CalibrationError(ValueError):
    """Points that make no calibration; one line that says which and why."""


@dataclass(frozen=True, slots=True)
class Line:
    """value = value_at_centre + slope * (code - centre).

    `scatter` is the standard deviation about the line with n - 2 degrees of freedom; it and the standard uncertainties
    `u_value` (at the centre) and `u_slope` are None where two points leave nothing to judge scatter by.
    """

    centre: float
    value_at_centre: float
    slope: float
    scatter: float | None
    u_value: float | None
    u_slope: float | None
    correlation: float


def fit_line(code: Sequence[float], value: Sequence[float], centre: float) -> Line:
    """The least-squares line through (n,) codes and values, its value referred to `centre`; n >= 2, codes not equal."""
    x, y = np.asarray(code, float) - centre, np.asarray(value, float)
    n, mean = len(x), x.mean()
    spread = float(np.sum((x - mean) ** 2))
    slope = float(np.sum((x - mean) * (y - y.mean())) / spread)
    at_centre = float(y.mean() - slope * mean)
    square = float(np.sum(x * x))
    correlation = float(-x.sum() / math.sqrt(n * square)) if square else 0.0
    if n == 2:
        return Line(centre, at_centre, slope, None, None, None, correlation)
    scatter = math.sqrt(float(np.sum((y - at_centre - slope * x) ** 2)) / (n - 2))
    u_value, u_slope = scatter * math.sqrt(square / (n * spread)), scatter / math.sqrt(spread)
    return Line(centre, at_centre, slope, scatter, u_value, u_slope, correlation)


class Calibration:
    """The line through calibration points [code, value].

    Raises CalibrationError for fewer than two points, a point that is no pair of finite numbers, codes or values that
    are all equal, and a point far off the line of the others (its numbers exchanged, or the order reversed).
    """

    def __init__(self, points: Iterable[Sequence[float]]):
        self.points = _checked(points)
        codes, values = zip(*self.points, strict=True)
        line = fit_line(codes, values, centre=0.0)
        self.slope, self.intercept = line.slope, line.value_at_centre
        self.u_slope, self.scatter = line.u_slope, line.scatter
        self.residuals = tuple(value - self.value(code) for code, value in self.points)
        self._refuse_reversed(values)

    def value(self, code: float) -> float:
        """The value of one code."""
        return self.intercept + self.slope * code

    def apply(self, codes: np.ndarray) -> np.ndarray:
        """Values, float64 (n,), of int codes (n,); NaN where the code is INVALID_CODE."""
        codes = np.asarray(codes)
        return np.where(codes == INVALID_CODE, np.nan, self.intercept + self.slope * codes.astype(float))

    def u_at(self, code: float) -> float | None:
        """Standard uncertainty of the line's value at `code`; None with two points."""
        codes, values = zip(*self.points, strict=True)
        return fit_line(codes, values, centre=code).u_value

    def u_difference(self, code_from: float, code_to: float) -> float | None:
        """Standard uncertainty of the difference of two values on the line, in which the intercept drops out; None with
        two points."""
        return None if self.u_slope is None else abs(code_to - code_from) * self.u_slope

    def _refuse_reversed(self, values: tuple[float, ...]) -> None:
        worst = max(range(len(values)), key=lambda i: abs(self.residuals[i]))
        if abs(self.residuals[worst]) > MAX_RESIDUAL * (max(values) - min(values)):
            code, value = self.points[worst]
            raise CalibrationError(
                f"point [{code:g}, {value:g}] lies {self.residuals[worst]:+g} off the line of the others: "
                "put code first and value second, and check for points exchanged"
            )


def _checked(points: Iterable[Sequence[float]]) -> tuple[tuple[float, float], ...]:
    pairs = tuple(_pair(point) for point in points)
    if len(pairs) < 2:
        raise CalibrationError(f"{len(pairs)} point given, two or more are needed: [[code, value], [code, value]]")
    for axis, name in enumerate(("codes", "values")):
        if len({pair[axis] for pair in pairs}) == 1:
            raise CalibrationError(f"all {name} are {pairs[0][axis]:g}: a line needs points apart")
    return pairs


def _pair(point: Sequence[float]) -> tuple[float, float]:
    try:
        code, value = (float(number) for number in point)
    except (TypeError, ValueError, OverflowError):
        raise CalibrationError(f"point {point!r} is not a pair [code, value] of numbers") from None
    if not (math.isfinite(code) and math.isfinite(value)):
        raise CalibrationError(f"point [{code}, {value}] is not finite")
    return code, value
