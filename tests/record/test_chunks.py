"""Stretches of readings come back bit for bit, whatever they hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from firmware_bridge.blocks import INVALID_CODE
from firmware_bridge.calibration import Calibration
from logger.record.chunks import decode, encode
from logger.record.errors import StoreError
from logger.record.rows import NO_CODE, Rows

CALIBRATIONS = {0: Calibration([[0, 0.0], [420000, 2000.0]]).apply, 1: Calibration([[102, 0.0], [921, 3447.4]]).apply}

values = st.one_of(
    st.floats(),
    st.decimals(-10000, 10000, places=3).map(float),
    st.integers(-(2**40), 2**40).map(float),
    st.sampled_from([0.0, -0.0, float("nan"), float("inf"), 5e-324, 0.1 + 0.2, 2.0**53, 1e22]),
)
times = st.one_of(st.integers(0, 10**11).map(lambda us: us / 1e6), st.floats(0, 1e6))
codes = st.one_of(st.integers(-(2**31), 2**31 - 1), st.sampled_from([INVALID_CODE, NO_CODE]))
reading = st.tuples(times, st.integers(0, 4), values, codes, st.booleans())


def rows_of(readings: list) -> Rows:
    """Readings in order of time; where the last item is true the value is what the code means."""
    readings = sorted(readings, key=lambda r: r[0])
    t_s, channel, value, code, follows = (np.array(column) for column in zip(*readings, strict=True))
    value, code = value.astype(float), code.astype(np.int64)
    for k in np.flatnonzero(follows & (channel < 2) & (code != NO_CODE)):
        value[k] = CALIBRATIONS[channel[k]](code[k : k + 1])[0]
    return Rows(t_s.astype(float), channel.astype(np.uint8), value, code)


def same(a: Rows, b: Rows) -> bool:
    nan = np.isnan(a.value) & np.isnan(b.value)
    bits = (a.value.view(np.int64) == b.value.view(np.int64)) | nan
    times = a.t_s.view(np.int64) == b.t_s.view(np.int64)
    coded_b = np.full(len(b), NO_CODE) if b.code is None else b.code
    return bool((bits & times & (a.channel == b.channel) & (a.code == coded_b)).all())


@settings(max_examples=200, deadline=None)
@given(st.lists(reading, min_size=1, max_size=40))
def test_every_bit_and_the_order_come_back(readings):
    rows = rows_of(readings)
    assert same(rows, decode(encode(rows, CALIBRATIONS), CALIBRATIONS))


@settings(max_examples=60, deadline=None)
@given(st.lists(reading, min_size=1, max_size=40), st.integers(0, 4))
def test_one_channel_alone_is_what_it_is_among_the_others(readings, number):
    rows = rows_of(readings)
    alone = decode(encode(rows, CALIBRATIONS), CALIBRATIONS, only=number)
    assert same(rows[rows.channel == number], alone)


def test_calibrated_codes_take_no_room_for_values():
    code = np.random.default_rng(1).integers(1_000_000, 1_000_100, 4800)
    rows = Rows(np.arange(4800) / 80, np.zeros(4800, np.uint8), CALIBRATIONS[0](code), code)
    bare = Rows(rows.t_s, rows.channel, rows.value)
    assert len(encode(rows, CALIBRATIONS)) < 1.5 * 4800
    assert len(encode(rows, CALIBRATIONS)) < len(encode(bare, CALIBRATIONS)) / 2


def test_decimal_values_stay_small():
    value = np.round(np.random.default_rng(1).normal(5000, 1, 6000), 2)
    rows = Rows(np.arange(6000) / 100, np.zeros(6000, np.uint8), value)
    assert len(encode(rows, {})) < 2.5 * 6000


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=60), st.floats(0, 0.999))
def test_a_damaged_stretch_is_one_line(junk, share):
    blob = encode(rows_of([(k / 10, k % 3, k / 7, k, False) for k in range(30)]), CALIBRATIONS)
    at = int(share * len(blob))
    hurt = blob[:at] + junk + blob[at + len(junk) + 1 :]
    assume(hurt != blob)
    with pytest.raises(StoreError, match="damaged") as error:
        decode(hurt, CALIBRATIONS)
    assert "\n" not in str(error.value)
