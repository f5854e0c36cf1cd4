"""Board micros to host time: the lower envelope of the delays, through wraps, drift and resets."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.board_clock import BoardClock


def arrivals(t_s: np.ndarray, least_s: float, mean_s: float, seed: int) -> np.ndarray:
    """Arrivals in order, each later than its sample by at least `least_s`."""
    delay = least_s + np.random.default_rng(seed).exponential(mean_s, len(t_s))
    return np.maximum.accumulate(t_s + delay)


def run(clock: BoardClock, t_s: np.ndarray, arrived: np.ndarray, ppm: float, first_micros: int = 0) -> np.ndarray:
    micros = np.round(t_s * 1e6 * (1 + ppm * 1e-6)).astype(np.int64) + first_micros
    return np.array([clock.map(int(m) % 2**32, float(a)) for m, a in zip(micros, arrived, strict=True)])


@settings(max_examples=30, deadline=None)
@given(
    ppm=st.floats(-5000, 5000),
    first_micros=st.integers(0, 2**32 - 1),
    least_s=st.floats(0, 0.05),
    mean_s=st.floats(0.0001, 0.02),
    seed=st.integers(0, 100),
)
def test_mapped_times_follow_the_samples(ppm: float, first_micros: int, least_s: float, mean_s: float, seed: int):
    t_s = np.arange(0, 90, 0.1)
    arrived = arrivals(t_s, least_s, mean_s, seed)
    clock = BoardClock()
    mapped = run(clock, t_s, arrived, ppm, first_micros)
    assert (np.diff(mapped) >= 0).all()
    assert (mapped <= arrived).all()
    late = t_s > 30
    error = mapped - t_s - least_s
    assert np.abs(error[late]).max() < 0.002 + 2 * mean_s
    assert np.std(np.diff(mapped[late])) <= np.std(np.diff(arrived[late])) + 1e-4
    assert clock.resets == 0


def test_spikes_of_delay_do_not_move_the_times():
    t_s = np.arange(0, 60, 0.1)
    delay = np.where(np.arange(len(t_s)) % 10 == 3, 0.4, 0.002)
    mapped = run(BoardClock(), t_s, np.maximum.accumulate(t_s + delay), 150)
    assert np.abs(mapped - t_s - 0.002)[t_s > 20].max() < 0.005


def test_the_drift_is_found():
    t_s = np.arange(0, 120, 0.1)
    clock = BoardClock()
    run(clock, t_s, arrivals(t_s, 0.001, 0.002, 1), ppm=800)
    assert (1 / clock.ratio - 1) * 1e6 == pytest.approx(800, abs=30)


def test_several_wraps_in_one_run():
    """71.6 minutes a wrap: three hours at one sample each ten seconds."""
    t_s = np.arange(0, 3 * 3600, 10.0)
    mapped = run(BoardClock(), t_s, t_s + 0.003, 50, first_micros=2**32 - 12_345)
    assert np.abs(mapped - t_s - 0.003)[t_s > 600].max() < 0.01


def test_a_counter_that_goes_back_is_a_reset():
    clock = BoardClock()
    t_s = np.arange(0, 30, 0.1)
    run(clock, t_s, t_s + 0.002, 0, first_micros=500_000_000)
    after = run(clock, t_s, t_s + 31.002, 0)
    assert clock.resets == 1
    np.testing.assert_allclose(after, t_s + 31.002, atol=1e-6)


def test_a_counter_that_jumps_ahead_is_a_reset():
    """After two hours and a reset the small new count may look like one that is ahead."""
    clock = BoardClock()
    t_s = np.arange(0, 10, 0.1)
    run(clock, t_s, t_s + 0.002, 0)
    after = run(clock, t_s, t_s + 11.002, 0, first_micros=900_000_000)
    assert clock.resets == 1
    np.testing.assert_allclose(after, t_s + 11.002, atol=1e-6)


def test_frames_held_back_for_long_are_no_reset():
    clock = BoardClock()
    t_s = np.arange(0, 60, 0.1)
    arrived = np.where((t_s > 20) & (t_s < 45), 45.0, t_s + 0.002)
    mapped = run(clock, t_s, arrived, 0)
    assert clock.resets == 0
    assert np.abs(mapped - t_s).max() < 0.02


def test_samples_sent_in_either_order_keep_order():
    clock = BoardClock()
    stamps = [0, 100_000, 90_000, 200_000, 199_000]
    mapped = [clock.map(m, 1.0 + i * 0.1) for i, m in enumerate(stamps)]
    assert mapped == sorted(mapped)
    assert clock.resets == 0
