"""The hose's pull, read off made-up openings and closings."""

from __future__ import annotations

import numpy as np
import pytest

from logger.measure.hose_pull import Pull, estimate_pull, turned_between


def opening(pull_g: float, flow: float, noise_g: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Readings at 10 Hz: at rest until 10 s, then the hose stiffens within 0.4 s and the flow begins."""
    t = np.arange(4.0, 16.0, 0.1)
    stiff = np.clip((t - 10.0) / 0.4, 0.0, 1.0)
    poured = flow * np.clip(t - 10.2, 0.0, None)
    return t, 5000.0 + pull_g * stiff - poured + np.random.default_rng(seed).normal(0.0, noise_g, len(t))


@pytest.mark.parametrize("pull_g", [-3.0, 0.0, 2.5])
def test_an_opening_shows_the_pull(pull_g):
    found = [estimate_pull(*opening(pull_g, 2.0, 0.3, seed), (8.0, 12.0), 0.09, Pull()) for seed in range(8)]
    assert np.mean([f.pull_g for f in found]) == pytest.approx(pull_g, abs=0.5)
    assert all(abs(f.pull_g - pull_g) < 4.0 * f.u_g for f in found)


def test_what_was_known_before_counts():
    t, y = opening(2.5, 2.0, 2.0, 1)
    alone = estimate_pull(t, y, (8.0, 12.0), 4.0, Pull())
    known = estimate_pull(t, y, (8.0, 12.0), 4.0, Pull(2.5, 0.1))
    assert known.pull_g == pytest.approx(2.5, abs=0.2)
    assert known.u_g < alone.u_g


def test_where_something_else_went_on_nothing_is_learned():
    t, y = opening(1.0, 2.0, 0.3, 1)
    y[60:70] += 40.0
    prior = Pull(0.7, 0.4)
    assert estimate_pull(t, y, (8.0, 12.0), 0.09, prior) is prior
    assert estimate_pull(t[:5], y[:5], (8.0, 12.0), 0.09, prior) is prior


def test_noise_widens_what_is_said():
    quiet, loud = (estimate_pull(*opening(1.0, 2.0, n, 1), (8.0, 12.0), n * n, Pull()) for n in (0.2, 2.0))
    assert quiet.u_g < loud.u_g <= 2.0


def test_a_slow_flow_may_have_begun_long_before_it_was_seen():
    slow, fast = turned_between(100.0, 0.4), turned_between(100.0, 20.0)
    assert slow[0] < fast[0] < 100.0 < slow[1] == fast[1]
