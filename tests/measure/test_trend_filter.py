"""The filter of mass and flow beside an independent one on linear cases, and what any Kalman filter must do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.measure.trend_filter import Trend

filterpy_kalman = pytest.importorskip("filterpy.kalman", reason="filterpy is the reference; it is a test dependency")

FLOW_NOISE, DISTURBANCE_NOISE, READING_G2 = 0.05, 2.0, 0.3


def reference(start: Trend):
    """filterpy's filter of the same state (m, f, d)."""
    kalman = filterpy_kalman.KalmanFilter(dim_x=3, dim_z=1)
    kalman.x = np.array([[start.m], [start.f], [start.d]])
    kalman.P = covariance(start)
    kalman.H = np.array([[1.0, 0.0, 1.0]])
    kalman.R = np.array([[READING_G2]])
    return kalman


def covariance(trend: Trend) -> np.ndarray:
    return np.array(
        [[trend.mm, trend.mf, trend.md], [trend.mf, trend.ff, trend.fd], [trend.md, trend.fd, trend.dd]], float
    )


def model(dt_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Transition and noise of a mass that a wandering flow leaves: the flow's white noise, integrated (the discrete
    white-noise acceleration of any textbook, the sign of the coupling turned as the flow goes out)."""
    transition = np.array([[1.0, -dt_s, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    q = FLOW_NOISE
    noise = np.array(
        [
            [q * dt_s**3 / 3, -q * dt_s**2 / 2, 0.0],
            [-q * dt_s**2 / 2, q * dt_s, 0.0],
            [0.0, 0.0, DISTURBANCE_NOISE * dt_s],
        ]
    )
    return transition, noise


def test_a_fill_is_followed_step_by_step_as_the_reference_follows_it():
    random = np.random.default_rng(11)
    ours = Trend(0.0, 5000.0, f=0.0, d=0.0, mm=4.0, ff=25.0, dd=1.0)
    theirs, t_s, mass_g = reference(ours), 0.0, 5001.0
    for step in range(400):
        dt_s = float(random.uniform(0.05, 0.3))
        t_s += dt_s
        mass_g -= (6.0 if 100 < step < 300 else 0.0) * dt_s
        reading = mass_g + random.normal(0, READING_G2**0.5)
        ours.predict(t_s, FLOW_NOISE, DISTURBANCE_NOISE)
        transition, noise = model(dt_s)
        theirs.predict(F=transition, Q=noise)
        expected = ours.innovation(reading, READING_G2)
        assert ours.update(reading, READING_G2) == expected
        theirs.update(reading)
        assert expected == pytest.approx((theirs.y[0, 0], theirs.S[0, 0]), rel=1e-8, abs=1e-7)
    assert [ours.m, ours.f, ours.d] == pytest.approx(theirs.x[:, 0].tolist(), rel=1e-9, abs=1e-6)
    assert covariance(ours) == pytest.approx(theirs.P, rel=1e-7, abs=1e-9)


@given(st.floats(0.5, 20.0), st.lists(st.floats(0.02, 2.0), min_size=30, max_size=80))
def test_a_steady_flow_without_noise_is_found_whatever_the_spacing(flow_g_per_s, steps):
    trend, t_s = Trend(0.0, 3000.0, mm=1.0, ff=400.0), 0.0
    for dt_s in steps:
        t_s += dt_s
        trend.predict(t_s, 1e-6)
        trend.update(3000.0 - flow_g_per_s * t_s, 0.01)
    assert trend.f == pytest.approx(flow_g_per_s, rel=0.05, abs=0.05)
    assert trend.m == pytest.approx(3000.0 - flow_g_per_s * t_s, abs=0.5)


@given(
    st.lists(st.tuples(st.floats(0.01, 5.0), st.floats(-50.0, 50.0), st.floats(0.01, 100.0)), min_size=1, max_size=40)
)
def test_its_covariance_stays_one(moves):
    """Symmetric by its form; no variance below zero, no correlation beyond one, whatever comes."""
    trend, t_s = Trend(0.0, 0.0, mm=100.0, ff=25.0, dd=4.0), 0.0
    for dt_s, reading, variance in moves:
        t_s += dt_s
        trend.predict(t_s, FLOW_NOISE, DISTURBANCE_NOISE)
        trend.update(reading, variance)
        assert np.linalg.eigvalsh(covariance(trend)).min() > -1e-9 * np.trace(covariance(trend))


def test_a_weight_read_against_the_mass_is_wrong_by_its_opposite():
    """A disturbance that was read as what a reading exceeds the mass by adds nothing to what the sum is known to."""
    trend = Trend(0.0, 1000.0, mm=9.0, mf=-1.0, ff=4.0)
    trend.put_disturbance(30.0, 0.5, related=True)
    assert trend.innovation(1030.0, 0.0) == (0.0, pytest.approx(0.5))
    trend.put_disturbance(0.0, 0.0, related=False)
    assert trend.innovation(1000.0, 0.0) == (0.0, 9.0)
