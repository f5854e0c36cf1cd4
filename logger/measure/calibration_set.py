"""Whether known values and the codes seen for them may become a calibration, or the reason why not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firmware_bridge.calibration import Calibration, CalibrationError
from logger.measure.budget import COVERAGE_FACTOR, rectangular
from logger.measure.scale_trend import student_t

KNOWN_MASS_SHARE = 5e-4
"""What the known masses themselves may be off, as a share: OIML R 111, class M3 (from memory: 1 g in 2 kg)."""


@dataclass(frozen=True, slots=True)
class KnownPoint:
    """A known value and the steady code seen for it: mean of `n` readings with standard deviation `sd`."""

    value: float
    code: float
    sd: float = 0.0
    n: int = 1


def calibration_from(points: Sequence[KnownPoint], limit: float, rising: bool = True) -> Calibration:
    """The least-squares line through a set that deserves one.

    limit: the largest residual to accept, in the value's unit. rising: codes must grow with the value. Raises
    CalibrationError (one line: why, and what to do) for too few or equal points, a code that moves no more than its
    noise, points in the wrong order, or a residual beyond the limit.
    """
    _refuse_unusable(points)
    _refuse_reversed(points, rising)
    calibration = Calibration([(p.code, p.value) for p in points])
    worst = max(range(len(points)), key=lambda i: abs(calibration.residuals[i]))
    if abs(calibration.residuals[worst]) > limit:
        raise CalibrationError(
            f"not a straight line: the point at {points[worst].value:g} lies {calibration.residuals[worst]:+.3g} off, "
            f"more than ±{limit:.3g}; look for a hose or stop that touches, a wrong mass, or an overloaded sensor"
        )
    return calibration


def repeatability(points: Sequence[KnownPoint], calibration: Calibration) -> float:
    """Standard uncertainty of the points' own codes, as a value: root mean square of sd/sqrt(n), times the slope."""
    return abs(calibration.slope) * math.sqrt(sum(p.sd**2 / p.n for p in points) / len(points))


def slope_u_rel(calibration: Calibration) -> float | None:
    """Standard uncertainty of the line's slope as a share of it; None with two points, which leave no scatter.

    Scatter about a line of three points says little of itself: it is widened by Student's t (JCGM 100 G.3) so that
    twice of it covers 95 %. The known masses' own errors move the slope as a whole and are added in quadrature.
    """
    if calibration.u_slope is None:
        return None
    scatter = student_t(len(calibration.points) - 2) / COVERAGE_FACTOR * calibration.u_slope / abs(calibration.slope)
    return math.hypot(scatter, rectangular(KNOWN_MASS_SHARE))


def _refuse_unusable(points: Sequence[KnownPoint]) -> None:
    if len(points) < 2:
        raise CalibrationError("too few points: an empty reading and one known value are the least, three are better")
    if not all(math.isfinite(p.value) and math.isfinite(p.code) for p in points):
        raise CalibrationError("a point without a finite value and code; repeat it")
    for a, b in _steps(points):
        if a.value == b.value:
            raise CalibrationError(f"two points say {a.value:g}; give every point another value")
        if abs(b.code - a.code) <= 5 * math.hypot(a.sd, b.sd):
            raise CalibrationError(
                f"from {a.value:g} to {b.value:g} the code moves {b.code - a.code:+.0f}, no more than its own noise; "
                "check that the sensor is connected and the load is really on it"
            )


def _refuse_reversed(points: Sequence[KnownPoint], rising: bool) -> None:
    steps = _steps(points)
    rises = [b.code > a.code for a, b in steps]
    if rising and not any(rises):
        raise CalibrationError(
            "reversed: codes fall as the value rises; swap the sensor's two signal wires, or the points were entered "
            "in the wrong order"
        )
    if len(set(rises)) > 1:
        mostly = rises.count(True) >= len(rises) / 2
        a, b = steps[rises.index(not mostly)]
        raise CalibrationError(
            f"reversed between {a.value:g} and {b.value:g}: there the code goes the other way; two points were "
            "probably exchanged, repeat both"
        )


def _steps(points: Sequence[KnownPoint]) -> list[tuple[KnownPoint, KnownPoint]]:
    ordered = sorted(points, key=lambda p: p.value)
    return list(zip(ordered, ordered[1:], strict=False))
