"""Calibration: the line, its uncertainty against a published example, and points that make none."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.blocks import INVALID_CODE
from firmware_bridge.calibration import Calibration, CalibrationError, fit_line

# JCGM 100:2008, Annex H.3, table H.6: thermometer readings t (°C) and corrections b (°C). The eleven pairs are written
# from memory; that all five of the guide's results come out of them is what vouches for them.
GUM_H3 = [
    (21.521, -0.171),
    (22.012, -0.169),
    (22.512, -0.166),
    (23.003, -0.159),
    (23.507, -0.164),
    (23.999, -0.165),
    (24.513, -0.156),
    (25.002, -0.157),
    (25.503, -0.159),
    (26.010, -0.161),
    (26.511, -0.160),
]


def test_the_guides_thermometer_calibration():
    """JCGM 100:2008 H.3.3 and H.3.4: y1 = -0.1712, s(y1) = 0.0029, y2 = 0.00218, s(y2) = 0.00067, r = -0.930,
    s = 0.0035; the predicted correction at 30 °C is -0.1494 with u = 0.0041."""
    t, b = zip(*GUM_H3, strict=True)
    line = fit_line(t, b, centre=20.0)
    assert round(line.value_at_centre, 4) == -0.1712
    assert round(line.u_value, 4) == 0.0029
    assert round(line.slope, 5) == 0.00218
    assert round(line.u_slope, 5) == 0.00067
    assert round(line.correlation, 3) == -0.930
    assert round(line.scatter, 4) == 0.0035
    at_30 = fit_line(t, b, centre=30.0)
    assert round(at_30.value_at_centre, 4) == -0.1494
    assert round(at_30.u_value, 4) == 0.0041


def test_the_guides_uncertainties_through_a_calibration():
    """The same example as codes and values; each value is raised by a known line so that the points rise as a sensor's
    do. Residuals and uncertainties about a line do not change by that."""
    calibration = Calibration([(t, b + 10 * t) for t, b in GUM_H3])
    assert round(calibration.slope - 10, 5) == 0.00218
    assert round(calibration.u_slope, 5) == 0.00067
    assert round(calibration.scatter, 4) == 0.0035
    assert round(calibration.u_at(20.0), 4) == 0.0029
    assert round(calibration.u_at(30.0), 4) == 0.0041
    assert calibration.u_difference(20.0, 30.0) == pytest.approx(10 * calibration.u_slope)


SLOPES = st.floats(1e-4, 1e4)
CODES = st.lists(st.integers(-(2**23), 2**23), min_size=2, max_size=8, unique=True)


@given(SLOPES, st.floats(-1e5, 1e5), CODES)
def test_points_on_a_line_give_that_line(slope: float, intercept: float, codes: list[int]):
    calibration = Calibration([(code, intercept + slope * code) for code in codes])
    size = abs(intercept) + slope * max(abs(code) for code in codes)
    got = calibration.apply(np.array(codes, np.int32))
    np.testing.assert_allclose(got, [intercept + slope * code for code in codes], atol=1e-9 * size)
    assert max(map(abs, calibration.residuals)) <= 1e-9 * size


def test_an_invalid_code_is_no_value():
    values = Calibration([(0, 0.0), (420000, 2000.0)]).apply(np.array([210000, INVALID_CODE, 0], np.int32))
    assert values.dtype == np.float64
    np.testing.assert_allclose(values, [1000.0, math.nan, 0.0], atol=1e-9)


def test_two_points_leave_uncertainty_unjudged():
    calibration = Calibration([(0, 0.0), (420000, 2000.0)])
    assert (calibration.u_slope, calibration.scatter, calibration.u_at(5), calibration.u_difference(0, 9)) == (
        None,
    ) * 4


@pytest.mark.parametrize(
    ("points", "reason"),
    [
        ([], "0 point given, two or more"),
        ([[0, 0.0]], "1 point given, two or more"),
        ([[5, 0.0], [5, 1.0]], "all codes are 5"),
        ([[0, 7.0], [5, 7.0]], "all values are 7"),
        ([[0, 0.0], [10, math.nan]], "not finite"),
        ([[0, 0.0], [math.inf, 1.0]], "not finite"),
        ([[0, 0.0], [10]], "not a pair"),
        ([[0, 0.0], 10], "not a pair"),
        ([[0, 0.0], ["a", 1]], "not a pair"),
        ([[0, 0.0], [210000, 2000.0], [420000, 1000.0]], "off the line of the others"),
        ([[0, 0.0], [1000.0, 210000], [420000, 2000.0]], "off the line of the others"),
    ],
)
def test_points_that_make_no_line(points: list, reason: str):
    with pytest.raises(CalibrationError, match=reason) as caught:
        Calibration(points)
    assert "\n" not in str(caught.value)
