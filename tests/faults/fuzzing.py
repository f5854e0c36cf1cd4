"""Hostile input by seed: bytes on the serial line, recordings, cart files; each gives what it broke, if anything."""

from __future__ import annotations

import io
import json
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

from firmware_bridge.cart import CartError, load_cart
from firmware_bridge.frames import Decoder, Frame, encode
from logger.record.errors import RecordingError
from logger.record.recording import read_recording

SESSION = {
    "format": "tarebook-recording",
    "version": 1,
    "session_id": "s-1",
    "cart_id": "cart-1",
    "started_utc": "2024-06-11T08:15:00Z",
    "refrigerant": "R-134a",
    "placard": {"low_g": 480, "high_g": 520},
    "channels": {"scale": {"unit": "g", "rate_hz": 10}},
}
READINGS = "t_s,channel,value\n0.1,scale,5000.0\n0.2,scale,\n0.3,scale,4999.5\n"
MARKS = 't_s,mark,detail\n0.2,stage,"{""stage"": ""charging""}"\n'
CART = """[cart]
id = "cart-1"
altitude_m = 120
[board]
port = "/dev/ttyACM0"
baud = 115200
[channel.scale]
source = "board"
field = "w"
unit = "g"
points = [[0, 0.0], [420000, 2000.0]]
[mqtt]
host = "localhost"
port = 1883
[limits]
high_side_kpa = 2900
"""
ODD = (b"NaN", b"-1e999", b"null", b"\0", b"\xff\xfe", b'"', b"{", b"[", b"=", b"\r", b"\n", b",", b"1" * 400, b"../")


def spoiled(data: bytes, rng: random.Random) -> bytes:
    """`data` with one to three places cut out, doubled, flipped or overwritten."""
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(data) + 1)
        to = min(len(data), at + rng.choice((0, 1, 1, 4, 40)))
        middle = rng.choice((b"", data[at:to] * 2, bytes([rng.randrange(256)]), rng.choice(ODD)))
        data = data[:at] + middle + data[to:]
    return data


def frames(count: int, seed: int = 1) -> tuple[int, list[str]]:
    """So many lines, spoiled or whole, in random pieces: (tried, faults). What was never sent must never come out.

    A change of more than one burst of 16 bits slips by a 16-bit checksum once in 65,536 times, by its nature; so lines
    are spoiled here in the ways of a real wire: one burst, a cut, or a loss of bytes with a line end.
    """
    rng, decoder, faults, tried = random.Random(seed), Decoder(), [], 0
    while tried < count:
        sent: set[tuple] = set()
        wire = bytearray()
        for _ in range(min(200, count - tried)):
            frame = Frame("SM", rng.randrange(65536), rng.randrange(2**32), {"w": rng.randrange(-(2**23), 2**23)})
            line = encode(frame)
            sent.add(_of(frame))
            wire += _hurt(line, rng)
            tried += 1
        for frame in _in_pieces(decoder, bytes(wire) + b"\n", rng):
            if _of(frame) not in sent:
                faults.append(f"accepted what was never sent: {frame}")
    return tried, faults


def _of(frame: Frame) -> tuple:
    return frame.type, frame.seq, frame.micros, tuple(frame.fields.items())


def _hurt(line: bytes, rng: random.Random) -> bytes:
    way = rng.randrange(4)
    if way == 0:
        return line
    if way == 1:
        bit = rng.randrange(len(line) * 8)
        burst = (rng.randrange(1, 1 << 16)) << bit
        return (int.from_bytes(line) ^ (burst & ((1 << len(line) * 8) - 1))).to_bytes(len(line))
    if way == 2:
        return line[: rng.randrange(len(line))]
    return bytes(rng.randrange(256) for _ in range(rng.randrange(300)))


def _in_pieces(decoder: Decoder, wire: bytes, rng: random.Random) -> list[Frame]:
    found, at = [], 0
    while at < len(wire):
        to = at + rng.randint(1, 700)
        found += decoder.feed(wire[at:to])
        at = to
    return found


def recordings(count: int, seed: int = 1) -> tuple[int, list[str]]:
    """So many zips with a spoiled file in them, or spoiled themselves."""
    rng = random.Random(seed)
    texts = {"session.json": json.dumps(SESSION), "readings.csv": READINGS, "marks.csv": MARKS}
    files = {name: text.encode() for name, text in texts.items()}
    faults = []
    for number in range(count):
        hurt = rng.choice([*files, "zip"])
        zipped = _zip({name: spoiled(data, rng) if name == hurt else data for name, data in files.items()})
        data = spoiled(zipped, rng) if hurt == "zip" else zipped
        faults += _broke(f"recording {number}", lambda data=data: read_recording(io.BytesIO(data)), RecordingError)
    return count, faults


def _zip(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


def carts(folder: Path, count: int, seed: int = 1) -> tuple[int, list[str]]:
    """So many spoiled cart files."""
    rng, path, faults = random.Random(seed), folder / "cart.toml", []
    for number in range(count):
        path.write_bytes(spoiled(CART.encode(), rng))
        faults += _broke(f"cart file {number}", lambda: load_cart(path), CartError)
    return count, faults


def _broke(what: str, read: Callable[[], object], refusal: type[Exception]) -> list[str]:
    """Reading either works or is refused in one line; anything else is a fault."""
    try:
        read()
    except refusal as error:
        return [f"{what}: not one line: {error!r}"] if "\n" in str(error) else []
    except Exception as error:  # the very thing that is looked for
        return [f"{what}: {type(error).__name__}: {error}"]
    return []
