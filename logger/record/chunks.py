"""How a stretch of readings becomes one small blob, and comes back bit for bit.

Each channel is a lane of streams: times, then codes or values or both. A stream is integers, differences of neighbours,
in the narrowest type that holds them, byte planes apart (high bytes hardly change), and all of it deflated. Times and
values that are decimal fractions of few places are scaled to integers, exactly; others keep their 64 bits.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from logger.record.errors import StoreError
from logger.record.rows import NO_CODE, Rows, concat

Apply = Callable[[np.ndarray], np.ndarray]
"""A channel's calibration: int64 codes (n,) → float64 values (n,), NaN where the code says invalid."""

_VERSION = 1
_HEAD = struct.Struct("<BBB")
_LANE = struct.Struct("<BBI")
_STREAM = struct.Struct("<BBq")
_ORDERED, _CODES, _VALUES = 1, 1, 2
_BITS = 255
_NAN = -(2**63)
_LARGEST_EXACT = 2.0**53
_PLACES = 9
_WIDTHS = (1, 2, 4, 8)


def encode(rows: Rows, calibrations: Mapping[int, Apply]) -> bytes:
    """The rows as a blob. Where the channel's calibration makes its values of its codes to the last bit, codes suffice.

    calibrations: channel number → calibration; the same must be given to `decode`.
    """
    numbers = np.unique(rows.channel).tolist()
    lanes = [rows[rows.channel == number] for number in numbers]
    natural = np.argsort(concat(lanes).t_s, kind="stable")
    ordered = bool((concat(lanes).channel[natural] == rows.channel).all())
    parts = [_HEAD.pack(_VERSION, len(lanes), _ORDERED if ordered else 0)]
    for number, lane in zip(numbers, lanes, strict=True):
        parts.append(_encode_lane(number, lane, calibrations.get(number)))
    parts.append(b"" if ordered else rows.channel.tobytes())
    return zlib.compress(b"".join(parts), 6)


def decode(blob: bytes, calibrations: Mapping[int, Apply], only: int | None = None) -> Rows:
    """The rows that `encode` was given; `only` one channel's where that is all that is wanted. Raises StoreError."""
    try:
        return _decode(zlib.decompress(blob), calibrations, only)
    except (zlib.error, struct.error, ValueError, KeyError) as error:
        raise StoreError(f"a stretch of readings is damaged ({error}): restore the last backup") from None


def _decode(raw: bytes, calibrations: Mapping[int, Apply], only: int | None) -> Rows:
    reader = _Reader(raw)
    version, count, ordered = reader.unpack(_HEAD)
    if version != _VERSION:
        raise ValueError(f"layout {version} is not known")
    rows = concat([lane for _ in range(count) if (lane := _decode_lane(reader, calibrations, only)) is not None])
    if only is not None:
        return rows
    if ordered:
        return rows[np.argsort(rows.t_s, kind="stable")]
    sequence = np.frombuffer(raw, np.uint8, offset=reader.at)
    place = np.empty(len(rows), np.int64)
    place[np.argsort(sequence, kind="stable")] = np.arange(len(rows))
    return rows[place]


def _encode_lane(number: int, lane: Rows, calibration: Apply | None) -> bytes:
    coded = lane.code is not None and bool((lane.code != NO_CODE).any())
    follows = coded and calibration is not None and _same(calibration(lane.code), lane.value)
    what = (_CODES if coded else 0) | (0 if follows else _VALUES)
    parts = [_LANE.pack(number, what, len(lane)), _encode_floats(lane.t_s)]
    if coded:
        parts.append(_encode_ints(0, lane.code))
    if not follows:
        parts.append(_encode_floats(lane.value))
    return b"".join(parts)


def _decode_lane(reader: _Reader, calibrations: Mapping[int, Apply], only: int | None) -> Rows | None:
    number, what, count = reader.unpack(_LANE)
    if only is not None and only != number:
        for _ in range(1 + what.bit_count()):
            reader.skip(count)
        return None
    places, times = reader.stream(count)
    code = reader.stream(count)[1] if what & _CODES else None
    if what & _VALUES:
        kind, whole = reader.stream(count)
        value = _floats(whole, kind)
    else:
        value = calibrations[number](code)
    return Rows(_floats(times, places), np.full(count, number, np.uint8), value, code)


def _same(a: np.ndarray, b: np.ndarray) -> bool:
    """Equal bits; one NaN is as good as another."""
    return bool(((a.view(np.int64) == b.view(np.int64)) | (np.isnan(a) & np.isnan(b))).all())


def _encode_floats(values: np.ndarray) -> bytes:
    for places in range(_PLACES + 1):
        scaled = _scaled(values, places)
        if scaled is not None:
            return _encode_ints(places, scaled)
    return _encode_ints(_BITS, np.ascontiguousarray(values).view(np.int64))


def _scaled(values: np.ndarray, places: int) -> np.ndarray | None:
    """The values as integers of 10^-places (NaN is one of them); None where that would not give back every bit."""
    invalid = np.isnan(values)
    with np.errstate(over="ignore"):
        scaled = np.rint(np.where(invalid, 0.0, values) * 10.0**places)
    if not bool((np.abs(scaled) < _LARGEST_EXACT).all()):
        return None
    whole = np.where(invalid, _NAN, scaled.astype(np.int64))
    return whole if _same(_floats(whole, places), values) else None


def _floats(whole: np.ndarray, places: int) -> np.ndarray:
    """Back from integers; one division of exact numbers, so the nearest double, as a parser would give."""
    if places == _BITS:
        return whole.view(np.float64)
    return np.where(whole == _NAN, np.nan, whole.astype(float) / 10.0**places)


def _encode_ints(kind: int, whole: np.ndarray) -> bytes:
    steps = np.diff(whole)
    if not steps.any():
        return _STREAM.pack(kind, 0, int(whole[0]))
    low, high = int(steps.min()), int(steps.max())
    width = next(w for w in _WIDTHS if -(1 << 8 * w - 1) <= low and high < 1 << 8 * w - 1)
    planes = steps.astype(f"<i{width}").view(np.uint8).reshape(-1, width).T
    return _STREAM.pack(kind, width, int(whole[0])) + planes.tobytes()


@dataclass(slots=True)
class _Reader:
    """Where decoding has come to."""

    raw: bytes
    at: int = 0

    def unpack(self, layout: struct.Struct) -> tuple:
        values = layout.unpack_from(self.raw, self.at)
        self.at += layout.size
        return values

    def stream(self, count: int) -> tuple[int, np.ndarray]:
        """Kind and `count` integers."""
        kind, width, first = self.unpack(_STREAM)
        whole = np.full(count, first, np.int64)
        if width:
            planes = np.frombuffer(self.raw, np.uint8, width * (count - 1), self.at).reshape(width, -1)
            steps = np.ascontiguousarray(planes.T).view(f"<i{width}").ravel()
            whole[1:] += np.cumsum(steps, dtype=np.int64)
            self.at += width * (count - 1)
        return kind, whole

    def skip(self, count: int) -> None:
        """Past a stream of `count` integers."""
        _, width, _ = self.unpack(_STREAM)
        self.at += width * (count - 1)
