"""The serial link's frames: one ASCII line each, with a sequence number and a checksum.

    $<type>,<seq>,<micros>,<key>=<value>[,...]*<crc>\\n

The checksum is CRC-16/CCITT-FALSE (polynomial 0x1021, initial value 0xFFFF; the check value of ``123456789`` is 29B1).
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

MAX_FRAME_BYTES = 160
SEQ_MODULUS = 1 << 16
MICROS_MODULUS = 1 << 32
PROTO = 1

_BODY = re.compile(rb"([A-Z]{2}),(\d{1,5}),(\d{1,10}),(.+)", re.ASCII)
_FIELD = re.compile(rb"([a-z][a-z0-9]*)=([ -~]+)")
_INTEGER = re.compile(rb"-?\d{1,10}")
_CRC = re.compile(rb"[0-9A-F]{4}")


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame. `fields` holds integers, in an ``ID`` frame text."""

    type: str
    seq: int
    micros: int
    fields: Mapping[str, int | str] = field(default_factory=dict)


def crc16(data: bytes) -> int:
    """CRC-16/CCITT-FALSE of `data`."""
    return binascii.crc_hqx(data, 0xFFFF)


def encode(frame: Frame) -> bytes:
    """The frame as it goes on the wire. Raises ValueError when it has no valid wire form."""
    fields = ",".join(f"{key}={value}" for key, value in frame.fields.items())
    body = f"{frame.type},{frame.seq},{frame.micros},{fields}".encode("ascii")
    line = b"$%s*%04X\n" % (body, crc16(body))
    if _parse_body(body) != frame or len(line) > MAX_FRAME_BYTES or b"$" in body or b"*" in body:
        raise ValueError(f"a frame cannot carry this: {frame}")
    return line


def parse_line(line: bytes) -> Frame:
    """The frame in one line (``$`` first, line end removed). Raises BadCrc or BadShape."""
    if len(line) >= MAX_FRAME_BYTES or not line.startswith(b"$"):
        raise BadShape(line)
    body, star, crc = line[1:].partition(b"*")
    if not star or not _CRC.fullmatch(crc):
        raise BadShape(line)
    if int(crc, 16) != crc16(body):
        raise BadCrc(line)
    frame = _parse_body(body)
    if frame is None:
        raise BadShape(line)
    return frame


class BadShape(ValueError):
    """A line that is no frame."""


class BadCrc(ValueError):
    """A line that looks like a frame and whose checksum is wrong."""


def _parse_body(body: bytes) -> Frame | None:
    match = _BODY.fullmatch(body)
    if not match:
        return None
    kind = match[1].decode()
    seq, micros = int(match[2]), int(match[3])
    fields = _parse_fields(match[4], text=kind == "ID")
    if seq >= SEQ_MODULUS or micros >= MICROS_MODULUS or fields is None:
        return None
    return Frame(kind, seq, micros, fields)


def _parse_fields(data: bytes, text: bool) -> dict[str, int | str] | None:
    fields: dict[str, int | str] = {}
    for part in data.split(b","):
        match = _FIELD.fullmatch(part)
        if not match or match[1].decode() in fields:
            return None
        value = match[2].decode() if text else _integer(match[2])
        if value is None:
            return None
        fields[match[1].decode()] = value
    return fields


def _integer(data: bytes) -> int | None:
    """An integer that fits a block's code and is not that of an invalid reading."""
    if not _INTEGER.fullmatch(data):
        return None
    value = int(data)
    return value if -(2**31) < value < 2**31 else None


class Decoder:
    """Turns bytes, in whatever pieces they come, into frames; counts what it drops.

    Counters: `frames`, `dropped` (lines in all, of which `bad_crc` and `bad_shape`), `lost` (gaps in the sequence),
    `restarts` (time and sequence both jumped back, or the board said that it had booted anew).
    """

    def __init__(self) -> None:
        self.frames = self.bad_crc = self.bad_shape = self.lost = self.restarts = 0
        self._rest = b""
        self._last: Frame | None = None
        self._boot: int | str | None = None

    @property
    def dropped(self) -> int:
        return self.bad_crc + self.bad_shape

    def counters(self) -> dict[str, int]:
        names = ("frames", "dropped", "bad_crc", "bad_shape", "lost", "restarts")
        return {name: getattr(self, name) for name in names}

    def feed(self, data: bytes) -> list[Frame]:
        """The frames that `data` completes."""
        *lines, rest = (self._rest + data).split(b"\n")
        # one byte more than a frame may have is enough to know that the line is too long
        self._rest = rest[-MAX_FRAME_BYTES - 1 :]
        return [frame for line in lines if (frame := self._line(line)) is not None]

    def forget_link(self) -> None:
        """The link was closed and opened: what is half read and the place in the sequence are void."""
        self._rest = b""
        self._last = None

    def _line(self, line: bytes) -> Frame | None:
        start = max(line.rfind(b"$"), 0)
        try:
            frame = parse_line(line[start:].removesuffix(b"\r"))
        except BadCrc:
            self.bad_crc += 1
            return None
        except BadShape:
            self.bad_shape += 1
            return None
        self.frames += 1
        self.bad_shape += start > 0  # a torn line had run into this frame
        self._follow(frame)
        return frame

    def _follow(self, frame: Frame) -> None:
        """Count what is missing between the last frame and this one."""
        last, self._last = self._last, frame
        if frame.type == "ID":
            before, self._boot = self._boot, frame.fields.get("boot")
            if before is not None and before != self._boot:
                self.restarts += 1
                return
        if last is None:
            return
        gap = (frame.seq - last.seq - 1) % SEQ_MODULUS
        back = (frame.micros - last.micros) % MICROS_MODULUS >= MICROS_MODULUS // 2
        if gap and (back or gap >= SEQ_MODULUS // 2):
            self.restarts += 1
        else:
            self.lost += gap
