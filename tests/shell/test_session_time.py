"""Host time into session time: one order for readings and marks, whatever the sources' clocks do."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.blocks import Block
from logger.session_time import SessionTime

ORIGIN = 1000.0


def block(channel, times, first=0):
    values = np.arange(first, first + len(times), dtype=float)
    return Block(channel, np.array(times, float), values, np.arange(first, first + len(times), dtype=np.int32))


times = st.lists(st.floats(ORIGIN - 1, ORIGIN + 50), max_size=5).map(sorted)
looks = st.lists(
    st.one_of(
        st.lists(st.tuples(st.sampled_from(["scale", "low_side", "vacuum"]), times), max_size=4),
        st.floats(ORIGIN, ORIGIN + 60),
    ),
    max_size=12,
)


@given(looks)
def test_time_never_goes_back_and_marks_come_after_their_readings(looks):
    order = SessionTime(ORIGIN)
    last_reading, last_mark = 0.0, -1.0
    for look in looks:
        if isinstance(look, float):
            mark = order.mark(look)
            assert mark >= last_reading and mark > last_mark
            last_mark = mark
            continue
        handed = order.merge([block(channel, t) for channel, t in look])
        assert len({b.channel for b in handed}) == len(handed)
        for each in handed:
            assert len(each) == len(each.value) == len(each.code) > 0
            assert np.all(np.diff(each.t_s) >= 0)
            assert each.t_s[0] >= last_reading and each.t_s[0] > last_mark
            assert np.array_equal(each.t_s, np.round(each.t_s, 6))
        last_reading = max([last_reading, *(float(b.t_s[-1]) for b in handed)])


@given(st.lists(st.tuples(st.sampled_from(["scale", "vacuum"]), times), max_size=6))
def test_every_reading_since_the_origin_is_handed_on_once(look):
    handed = SessionTime(ORIGIN).merge([block(c, t, 100 * n) for n, (c, t) in enumerate(look)])
    wanted = {
        (c, 100.0 * n + k) for n, (c, t) in enumerate(look) for k, each in enumerate(t) if round(each - ORIGIN, 6) >= 0
    }
    got = [(b.channel, value) for b in handed for value in b.value.tolist()]
    assert len(got) == len(set(got)) and set(got) == wanted


def test_readings_in_order_keep_their_times():
    order = SessionTime(ORIGIN)
    first = order.merge([block("scale", [1000.1, 1000.2]), block("vacuum", [1000.15])])
    second = order.merge([block("scale", [1000.3])])
    assert [b.t_s.tolist() for b in (*first, *second)] == [[0.1, 0.2], [0.15], [0.3]]


def test_one_block_without_codes_leaves_the_merged_one_without():
    bare = Block("scale", np.array([1001.0]), np.array([5.0]), None)
    (merged,) = SessionTime(ORIGIN).merge([block("scale", [1000.5]), bare])
    assert merged.code is None and merged.value.tolist() == [0.0, 5.0]


def test_silence_is_said_once_for_each_stretch_and_never_before_a_reading():
    order = SessionTime(ORIGIN)
    order.merge([block("scale", [1010.0])])
    assert order.silence(1010.5) is None
    past = order.silence(1015.0)
    assert 10.0 < past < 15.0
    (late,) = order.merge([block("scale", [1012.0])])
    assert late.t_s[0] > past


def test_on_a_fast_clock_a_hiccup_is_no_silence():
    order = SessionTime(ORIGIN, speed=20.0)
    order.merge([block("scale", [1010.0])])
    assert order.silence(1015.0) is None
    assert order.silence(1025.0) is not None
