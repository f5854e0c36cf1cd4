"""One session's file on its way in: chunks in any order, each checked, kept on disk so that a later run goes on."""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

MOST_BYTES = 512 << 20
MOST_CHUNK_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class Head:
    """What the cart said of the file: its length, that of a chunk, checksums of the whole and of each chunk."""

    version: str
    size: int
    chunk_bytes: int
    sha256: str
    crc32: tuple[int, ...]

    def span(self, number: int) -> tuple[int, int]:
        """Where a chunk lies: first byte, length."""
        start = number * self.chunk_bytes
        return start, min(self.chunk_bytes, self.size - start)


def read_head(payload: bytes) -> Head:
    """Raises ValueError, one line, for what is no head, or the cart's own reason for not giving one."""
    try:
        said = json.loads(payload)
        if "why" in said:
            raise ValueError(f"the cart cannot give it: {said['why']}")
        sums = tuple(int(number) for number in said["crc32"])
        head = Head(str(said["version"]), int(said["bytes"]), int(said["chunk_bytes"]), str(said["sha256"]), sums)
    except (KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        raise ValueError("its head is no such thing: does the cart run another version of this program?") from None
    sane = 0 < head.size <= MOST_BYTES and 0 < head.chunk_bytes <= MOST_CHUNK_BYTES
    if not sane or len(sums) != -(-head.size // head.chunk_bytes):
        raise ValueError(f"its head does not add up ({head.size} bytes in {len(sums)} chunks)")
    return head


class Incoming:
    """The file at `path` while it is incomplete. Raises OSError."""

    def __init__(self, path: Path, head: Head):
        self.path, self.head = path, head
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
        with path.open("r+b") as file:
            file.truncate(head.size)
            self.missing = [k for k in range(len(head.crc32)) if not self._fits(k, file.read(head.chunk_bytes))]
        self.resumed = len(head.crc32) - len(self.missing)

    def put(self, number: int, data: bytes) -> bool:
        """Keep a chunk; False when it is damaged or was here already."""
        if number not in self.missing or not self._fits(number, data):
            return False
        with self.path.open("r+b") as file:
            file.seek(self.head.span(number)[0])
            file.write(data)
        self.missing.remove(number)
        return True

    def whole(self) -> bool:
        """Whether all is here and is what the cart has."""
        with self.path.open("rb") as file:
            return not self.missing and hashlib.file_digest(file, "sha256").hexdigest() == self.head.sha256

    def _fits(self, number: int, data: bytes) -> bool:
        return len(data) == self.head.span(number)[1] and zlib.crc32(data) == self.head.crc32[number]


def read_list(payload: bytes) -> Mapping[str, str]:
    """Session → version, of a cart's list of recordings; empty for what is none."""
    try:
        return {str(session): str(version) for session, version in json.loads(payload)["sessions"].items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}
