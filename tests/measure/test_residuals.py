"""Steps, changes of flow and noise told apart from their residuals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.measure.residuals import fit_line, is_noise, judge, settled

T = list(np.arange(0.1, 2.6, 0.1))


def noisy(values: np.ndarray, sigma: float, seed: int = 1) -> list[float]:
    return list(values + np.random.default_rng(seed).normal(0.0, sigma, len(values)))


@given(
    st.lists(st.floats(-50, 50), min_size=4, max_size=40),
    st.floats(-5, 5),
    st.floats(-100, 100),
)
def test_the_line_is_numpys(values, slope, level):
    t = [0.1 * i for i in range(len(values))]
    r = [v + level + slope * a for v, a in zip(values, t, strict=True)]
    line = fit_line(t, r)
    a, b = np.polyfit(t, r, 1)
    assert line.slope == pytest.approx(a, abs=1e-6)
    assert line.at(0.0) == pytest.approx(b, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.floats(20, 60), st.sampled_from([-1.0, 1.0]), st.integers(0, 1000))
def test_a_hand_is_a_step(size, sign, seed):
    r = noisy(sign * size * np.clip(np.array(T) / 0.25, 0.0, 1.0), 1.0, seed)
    verdict = judge(T, r, 0.0, 1.0, 2.0)
    assert verdict.kind == "step"
    assert verdict.level_g == pytest.approx(sign * size, abs=1.5)


@settings(max_examples=40, deadline=None)
@given(st.floats(8, 30), st.integers(0, 1000))
def test_a_valve_opened_is_a_flow(change, seed):
    verdict = judge(T, noisy(-change * np.array(T), 1.0, seed), 0.0, 1.0, 0.0)
    assert verdict.kind == "flow"
    assert -verdict.line.slope == pytest.approx(change, abs=3.0)


def test_a_valve_closed_is_a_flow_that_ends():
    verdict = judge(T, noisy(5.0 * np.array(T), 1.0), 0.0, 1.0, 5.0)
    assert verdict.kind == "flow"
    assert verdict.line.slope == pytest.approx(5.0, abs=0.6)


def test_a_bump_or_chaos_is_nothing_named():
    r = list(200.0 * np.sin(9.0 * np.array(T)))
    assert judge(T, r, 0.0, 1.0, 2.0).kind == ""
    assert is_noise(T, r) is None


def test_an_engine_is_noise_and_a_hand_is_not():
    assert is_noise(T, list(4.0 * np.sin(20.0 * np.array(T)))) == pytest.approx(2.8, abs=0.6)
    assert is_noise(T, noisy(np.full(len(T), 25.0), 1.0)) is None


def test_settled_only_where_it_lies_still():
    assert settled(T, noisy(np.full(len(T), 25.0), 1.0), 0.8, 1.0) == pytest.approx(25.0, abs=1.5)
    assert settled(T, list(20.0 * np.array(T)), 0.8, 1.0) is None
