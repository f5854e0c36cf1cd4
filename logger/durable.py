"""Small files that a loss of power leaves as they were or as they were to be; what was said to be kept is on disk."""

from __future__ import annotations

import os
from pathlib import Path


def replace_whole(path: Path, text: str, mode: int, owner_of: Path) -> None:
    """Put `text` in the file's place, whole or not at all; on disk, name and all, when this returns. What root writes
    belongs to the owner of `owner_of`: the logger, who is not root, must read it."""
    beside = path.with_name(path.name + ".new")
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as stream:
        os.fchmod(descriptor, mode)
        if os.geteuid() == 0:
            owner = owner_of.stat()
            os.fchown(descriptor, owner.st_uid, owner.st_gid)
        stream.write(text)
        stream.flush()
        os.fsync(descriptor)
    os.replace(beside, path)
    _sync_folder(path.parent)


def add_line(path: Path, line: str) -> None:
    """Add a line to a log; on disk when this returns. A last line that was cut off by a loss of power is taken away: it
    was never said to be kept, and would spoil the one that comes."""
    is_new = not path.exists()
    with open(path, "ab+") as log:
        log.truncate(_whole_lines(path.read_bytes()))
        log.write(line.encode() + b"\n")
        log.flush()
        os.fsync(log.fileno())
    if is_new:
        _sync_folder(path.parent)


def lines_of(path: Path) -> list[str]:
    """The log's whole lines, oldest first."""
    kept = path.read_bytes()
    return kept[: _whole_lines(kept)].decode("utf-8").splitlines()


def _whole_lines(kept: bytes) -> int:
    return kept.rfind(b"\n") + 1


def _sync_folder(folder: Path) -> None:
    """So that the file's name is on disk too."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
