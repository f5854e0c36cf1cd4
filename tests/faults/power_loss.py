"""What a card may hold after the power went: writes that were not synced are dropped, torn or in the wrong order."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

SECTOR = 512
WAYS = ("dropped", "torn", "some sectors", "zeroes")


@dataclass(frozen=True)
class Files:
    """The store's two files at one moment; `kept` seconds of readings were acknowledged by then."""

    database: bytes
    wal: bytes
    kept: int

    @classmethod
    def of(cls, path: Path, kept: int) -> Files:
        wal = path.with_name(path.name + "-wal")
        return cls(path.read_bytes(), wal.read_bytes() if wal.exists() else b"", kept)

    def lay(self, path: Path) -> None:
        """Put them where a store can be opened, without what only a living process has."""
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(self.database)
        path.with_name(path.name + "-wal").write_bytes(self.wal)


def mangled(old: bytes, new: bytes, way: str, rng: random.Random) -> bytes:
    """A file that held `old` for sure, while `new` was being written over it and nothing was synced yet."""
    if way == "dropped":
        return old
    if way == "torn":
        cut = rng.randrange(len(new) + 1)
        return new[:cut] + old[cut:]
    size = max(len(old), len(new))
    sectors = []
    for at in range(0, size, SECTOR):
        was, comes = old[at : at + SECTOR], new[at : at + SECTOR]
        if was == comes or rng.random() < 0.5:
            sectors.append(comes)
        else:
            lost = bytes(len(comes)) if at >= len(old) or way == "zeroes" and not was else was
            sectors.append(lost.ljust(len(comes), b"\0") if at + SECTOR < size else lost)
    return b"".join(sectors)


def images(moments: list[Files], each: int, rng: random.Random) -> Iterator[tuple[str, Files]]:
    """Crash images between each moment and the next: the log half written, or, at a checkpoint, the database."""
    for old, new in zip(moments, moments[1:], strict=False):
        for way in WAYS:
            for _ in range(each):
                if new.database != old.database and new.wal == old.wal:
                    yield way, Files(mangled(old.database, new.database, way, rng), old.wal, old.kept)
                elif new.database == old.database and new.wal[: len(old.wal)] == old.wal:
                    yield way, Files(old.database, mangled(old.wal, new.wal, way, rng), old.kept)


def checkpoint(path: Path) -> None:
    """Have SQLite copy the log into the database, as it does by itself when the log has grown."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()
    connection.close()
