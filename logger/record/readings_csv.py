"""readings.csv as columns: parsed in bulk, every number exactly as Python's float() reads it."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

import numpy as np

from logger.record.errors import RecordingError
from logger.record.rows import Rows, concat

HEADER = b"t_s,channel,value"
NUMBER = re.compile(rb"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,4})?")
_PAD = b"0" * 8
"""Around the text, so that a word of eight bytes can be read at either end of every field."""
_POWERS = np.array([10**k for k in range(9)], np.int64)
_SWAR_ZEROS = np.uint64(0x3030303030303030)
_HIGH_NIBBLES = np.uint64(0xF0F0F0F0F0F0F0F0)
_SIXES = np.uint64(0x0606060606060606)
_KEEP_LAST = np.array([0] + [(2**64 - 1) ^ (2 ** (64 - 8 * k) - 1) for k in range(1, 9)], np.uint64)
_KEEP_FIRST = np.array([2 ** (8 * k) - 1 for k in range(9)], np.uint64)
_WIDEST = 32
_IN_NUMBERS = np.isin(np.arange(256), np.frombuffer(b"0123456789+-.eE\0", np.uint8))
_COMMA, _DOT, _NEWLINE, _MINUS = 44, 46, 10, 45


def parse_readings(pieces: Iterable[bytes], names: Sequence[str]) -> Rows:
    """The text of a readings.csv, in pieces cut anywhere, as columns.

    names: the session's channels; their places are the `channel` numbers. Raises RecordingError, one line that names
    the row (the header is row 1).
    """
    parser = _Parser(names)
    rest = b""
    for piece in pieces:
        text = rest + piece
        end = text.rfind(b"\n") + 1
        parser.take(text[:end])
        rest = text[end:]
    parser.take(rest + b"\n" if rest else b"")
    return parser.rows()


class _Parser:
    """Takes whole lines; keeps count of rows for messages."""

    def __init__(self, names: Sequence[str]):
        self._names = list(names)
        self._done: list[Rows] = []
        self._row = 1
        self._headed = False
        self._last_t_s = 0.0

    def take(self, text: bytes) -> None:
        if text and not self._headed:
            text = self._after_header(text)
        if text:
            rows = _parse(_plain(text, self._row), self._names, self._row)
            self._check_order(rows.t_s)
            self._row += len(rows)
            self._done.append(rows)

    def rows(self) -> Rows:
        if not self._headed:
            raise RecordingError("readings.csv is empty: its first row must be t_s,channel,value")
        return concat(self._done)

    def _after_header(self, text: bytes) -> bytes:
        header, _, rest = text.partition(b"\n")
        header = header.removeprefix(b"\xef\xbb\xbf").rstrip(b"\r").replace(b'"', b"")
        if header != HEADER:
            raise RecordingError(f"readings.csv row 1: the header is {_show(header)}: write t_s,channel,value")
        self._headed, self._row = True, 2
        return rest

    def _check_order(self, t_s: np.ndarray) -> None:
        before = np.concatenate([[self._last_t_s], t_s[:-1]])
        wrong = np.flatnonzero(t_s < before)
        if len(wrong):
            k = int(wrong[0])
            first = self._row + k == 2
            than = "the session's start" if first else f"{float(before[k])!r} of the row above"
            raise RecordingError(
                f"readings.csv row {self._row + k}: t_s {float(t_s[k])!r} is before {than}: "
                "sort the rows by t_s, the first at 0 or later"
            )
        self._last_t_s = float(t_s[-1])


def _plain(text: bytes, row: int) -> bytes:
    """The same rows without quotes and carriage returns."""
    if b'"' not in text and b"\r" not in text:
        return text
    try:
        lines = csv.reader(io.StringIO(text.decode("utf-8"), newline=""), strict=True)
        return "".join(",".join(cells) + "\n" for cells in lines).encode()
    except (csv.Error, UnicodeDecodeError) as error:
        raise RecordingError(f"readings.csv near row {row}: {error}: save it as UTF-8 CSV") from None


def _parse(text: bytes, names: list[str], first_row: int) -> Rows:
    """Whole lines `t_s,channel,value` as columns; the order of times is not judged here."""
    padded = np.frombuffer(_PAD + text + _PAD, np.uint8)
    mark = np.flatnonzero((padded == _COMMA) | (padded == _NEWLINE) | (padded == _DOT))
    kind = padded[mark]
    line_end = np.flatnonzero(kind == _NEWLINE)
    comma = np.flatnonzero(kind == _COMMA)
    if len(comma) != 2 * len(line_end) or not _two_a_line(comma, line_end):
        raise _field_count(text, first_row)
    first, second = comma[::2], comma[1::2]
    start = np.concatenate([[len(_PAD)], mark[line_end[:-1]] + 1])
    t_s = _floats(padded, start, mark[first], _dot(mark, kind, first), ("t_s", first_row))
    channel = _channels(padded, mark[first] + 1, mark[second], names, first_row)
    value = _floats(padded, mark[second] + 1, mark[line_end], _dot(mark, kind, line_end), ("value", first_row))
    return Rows(t_s, channel, value)


def _two_a_line(comma: np.ndarray, line_end: np.ndarray) -> bool:
    first, second = comma[::2], comma[1::2]
    return bool((second < line_end).all() and (first[1:] > line_end[:-1]).all())


def _dot(mark: np.ndarray, kind: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Where the decimal point of each field that ends at mark number `end` is; its end where it has none."""
    before = end - 1
    return np.where(kind[before] == _DOT, mark[before], mark[end])


def _floats(
    padded: np.ndarray, start: np.ndarray, end: np.ndarray, dot: np.ndarray, where: tuple[str, int]
) -> np.ndarray:
    """Fields as float64: in bulk where digits and point are all there is, one by one otherwise."""
    words = np.ndarray(len(padded) - 7, "<u8", padded, strides=(1,))
    dot = np.where(dot < start, end, dot)
    negative = padded[start] == _MINUS
    begin = start + negative
    whole, places = dot - begin, np.maximum(end - dot - 1, 0)
    odd = (whole < 1) | (whole > 8) | (places > 8) | (whole + places > 15) | ((end - dot) == 1)
    whole_value, whole_bad = _digits(words, dot, np.clip(whole, 0, 8))
    part_value, part_bad = _digits(words, end, np.minimum(places, 8))
    scale = _POWERS[np.minimum(places, 8)]
    value = (whole_value * scale + part_value) / scale
    value = np.where(negative, -value, value)
    other = np.flatnonzero(odd | whole_bad | part_bad)
    if len(other):
        value[other] = _other_floats(padded, start[other], end[other], where, other)
    return value


def _digits(words: np.ndarray, end: np.ndarray, count: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The `count` (at most 8) digits before `end` as int64, and where something there is no digit.

    Eight bytes are read as one word; pairs, then fours, then eights of digits are joined by multiplication.
    """
    keep = _KEEP_LAST[count]
    x = (words[end - 8] ^ _SWAR_ZEROS) & keep
    bad = ((x | (x + _SIXES)) & _HIGH_NIBBLES) != 0
    x = (x * np.uint64(2561)) >> np.uint64(8) & np.uint64(0x00FF00FF00FF00FF)
    x = (x * np.uint64(6553601)) >> np.uint64(16) & np.uint64(0x0000FFFF0000FFFF)
    x = (x * np.uint64(42949672960001)) >> np.uint64(32)
    return x.astype(np.int64), bad


def _other_floats(
    padded: np.ndarray, start: np.ndarray, end: np.ndarray, where: tuple[str, int], rows: np.ndarray
) -> np.ndarray:
    """Fields that are not a few plain digits: many digits, exponents, nothing at all, or no numbers."""
    size = end - start
    if where[0] == "value" and not size.all():
        value = np.full(len(start), np.nan)
        value[size > 0] = _other_floats(padded, start[size > 0], end[size > 0], where, rows[size > 0])
        return value
    place = start[:, None] + np.arange(min(int(size.max(initial=1)), _WIDEST))
    text = np.where(place < end[:, None], padded[np.minimum(place, len(padded) - 1)], 0).astype(np.uint8)
    try:
        with np.errstate(over="ignore"):
            value = text.view(f"S{text.shape[1]}").ravel().astype(float)
    except ValueError:
        value = np.full(len(start), np.nan)
    wrong = ~np.isfinite(value) | ~_IN_NUMBERS[text].all(axis=1) | (size > _WIDEST)
    for k in np.flatnonzero(wrong).tolist():
        value[k] = _one_float(padded[start[k] : end[k]].tobytes(), where[0], where[1] + int(rows[k]))
    return value


def _one_float(field: bytes, column: str, row: int) -> float:
    value = float(field) if NUMBER.fullmatch(field) else float("nan")
    if value - value != 0:
        mend = "leave it empty where the reading was invalid" if column == "value" else "write seconds from the start"
        raise RecordingError(f"readings.csv row {row}: {column} {_show(field)} is not a finite number: {mend}")
    return value


def _channels(padded: np.ndarray, start: np.ndarray, end: np.ndarray, names: list[str], first_row: int) -> np.ndarray:
    """Channel numbers by the first eight and the last eight bytes of each name, exact up to sixteen."""
    words = np.ndarray(len(padded) - 7, "<u8", padded, strides=(1,))
    size = end - start
    head = words[start] & _KEEP_FIRST[np.minimum(size, 8)]
    tail = words[end - 8] & _KEEP_LAST[np.minimum(size, 8)]
    number = np.full(len(start), 255, np.uint8)
    for k, name in enumerate(names):
        raw = name.encode()
        want_head = int.from_bytes(raw[:8], "little")
        want_tail = int.from_bytes(raw[-8:].rjust(8, b"\0"), "little")
        number[(size == len(raw)) & (head == np.uint64(want_head)) & (tail == np.uint64(want_tail))] = k
    unknown = np.flatnonzero(number == 255)
    if len(unknown):
        k = int(unknown[0])
        name = _show(padded[start[k] : end[k]].tobytes())
        raise RecordingError(
            f"readings.csv row {first_row + k}: channel {name} is not declared in session.json: "
            "declare it under channels, or take its rows out"
        )
    return number


def _field_count(text: bytes, first_row: int) -> RecordingError:
    for k, line in enumerate(text.splitlines()):
        found = line.count(b",") + 1
        if found != 3:
            return RecordingError(
                f"readings.csv row {first_row + k}: {found} field{'s' if found > 1 else ''} instead of three: "
                "write t_s,channel,value"
            )
    raise AssertionError("every line has three fields")


def _show(raw: bytes) -> str:
    return repr(raw[:40].decode("utf-8", "replace"))
