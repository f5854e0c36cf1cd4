"""The store after power loss with unsynced writes dropped, torn or reordered: it opens, and what was acknowledged is
there bit for bit. Kills of the process itself are in tests/bench/bench_kill.py."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st
from power_loss import WAYS, mangled
from power_tries import try_all


def test_the_store_opens_and_has_all_that_was_acknowledged(tmp_path):
    tried, wrong = try_all(tmp_path, seconds=11, each=4)
    assert tried > 100
    assert not wrong


@given(st.binary(max_size=3000), st.binary(max_size=3000), st.sampled_from(WAYS), st.integers(0, 99))
def test_what_is_mangled_holds_nothing_but_old_new_or_nought(old, new, way, seed):
    result = mangled(old, new, way, random.Random(seed))
    for at, byte in enumerate(result):
        assert byte in (old[at : at + 1] + new[at : at + 1] + b"\0")
