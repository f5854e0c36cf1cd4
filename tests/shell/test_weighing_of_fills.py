"""A few random fills of every kind, the reach of the benches in small."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
from fills_bench import KINDS, judge

SEEDS = range(300, 306)
WRONG_G = 15.0
"""SAE J2788 (40 CFR 82 Subpart B App. C) 9.1: what service equipment may be off by."""


@pytest.mark.parametrize("kind", KINDS)
def test_fills_of_a_kind(kind):
    found = [judge(kind, seed) for seed in SEEDS]
    stops = np.array([np.nan if outcome.stop_g is None else outcome.stop_g for outcome in found])
    assert np.all(np.abs(stops) < WRONG_G), stops
    assert np.median(np.abs(stops)) < 3.0
    off = np.array([abs(outcome.delivered_g) for outcome in found])
    assert np.median(off) < 1.5
    assert np.mean([o.u_g for o in found]) < 5.0
    assert sum(abs(o.delivered_g) <= o.u_g for o in found) >= len(found) - 1
