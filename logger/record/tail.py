"""The newest readings of the open session: first in one-second chunks, then settled into chunks of a minute."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from firmware_bridge.blocks import Block
from logger.record.chunks import Apply, encode
from logger.record.errors import StoreError
from logger.record.rollup import seconds
from logger.record.rows import Rows, concat, from_blocks

SETTLE_AFTER_S = 60.0
Statement = tuple[str, list[tuple]]
"""SQL and the parameter rows to run it with."""

_INSERT_CHUNK = "INSERT INTO chunk (session, settled, first_t_s, last_t_s, readings, data) VALUES (?, ?, ?, ?, ?, ?)"
_INSERT_SECOND = """
INSERT INTO second (session, channel, second, low, high, mean, readings) VALUES (?, ?, ?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET low = min(low, excluded.low), high = max(high, excluded.high),
    mean = (mean * readings + excluded.mean * excluded.readings) / (readings + excluded.readings),
    readings = readings + excluded.readings"""


class Tail:
    """What of one session is not settled yet.

    Small chunks make each second safe on disk; a minute of them together packs to half the size and reads many times
    faster, so the transaction that completes a minute replaces them.
    """

    def __init__(self, session: int, names: Sequence[str], calibrations: Mapping[int, Apply]):
        self.session = session
        self.last_t_s = 0.0
        self._index = {name: number for number, name in enumerate(names)}
        self._calibrations = calibrations
        self._kept: list[Rows] = []
        self._fresh: list[Rows] = []
        self._settling = False

    def resume(self, kept: list[Rows], last_t_s: float) -> None:
        """Go on after `kept`, the rows of the small chunks on disk, and the time of the last reading on disk."""
        self._kept, self.last_t_s = kept, last_t_s

    def add(self, blocks: Sequence[Block]) -> int:
        """Take the blocks of one look; how many readings they are. Raises StoreError."""
        try:
            rows = from_blocks(blocks, self._index)
        except KeyError as error:
            raise StoreError(f"channel {error} is not one of this session's: close it and open a new one") from None
        if not len(rows):
            return 0
        if rows.t_s[0] < self.last_t_s:
            raise StoreError(f"a reading at {rows.t_s[0]!r} s came after one at {self.last_t_s!r} s: hand on by time")
        self.last_t_s = float(rows.t_s[-1])
        self._fresh.append(rows)
        return len(rows)

    def statements(self) -> list[Statement]:
        """What a commit must run now; call `written` once it is on disk."""
        if not self._fresh:
            return []
        first = (self._kept or self._fresh)[0].t_s[0]
        self._settling = bool(self.last_t_s - first >= SETTLE_AFTER_S)
        if self._settling:
            return self.settle()
        return [(_INSERT_CHUNK, [chunk_row(self.session, False, concat(self._fresh), self._calibrations)])]

    def written(self) -> None:
        """The last `statements` are on disk."""
        self._kept = [] if self._settling else self._kept + self._fresh
        self._fresh, self._settling = [], False

    def settle(self) -> list[Statement]:
        """What replaces all small chunks, and what has not been written, by a settled one."""
        rows = concat(self._kept + self._fresh)
        clear = ("DELETE FROM chunk WHERE session = ? AND settled = 0", [(self.session,)])
        length = ("UPDATE session SET duration_s = ? WHERE id = ?", [(self.last_t_s, self.session)])
        return [clear, *settled(self.session, rows, self._calibrations), length]


def settled(session: int, rows: Rows, calibrations: Mapping[int, Apply]) -> list[Statement]:
    """What stores `rows` as one settled chunk with its one-second lows, highs and means."""
    if not len(rows):
        return []
    channel, spans = seconds(rows)
    columns = (channel, spans.t_s.astype(np.int64), spans.low, spans.high, spans.mean, spans.readings)
    charts = [(session, *row) for row in zip(*(column.tolist() for column in columns), strict=True)]
    return [(_INSERT_CHUNK, [chunk_row(session, True, rows, calibrations)]), (_INSERT_SECOND, charts)]


def chunk_row(session: int, is_settled: bool, rows: Rows, calibrations: Mapping[int, Apply]) -> tuple:
    """One row of the table `chunk`."""
    times = (float(rows.t_s[0]), float(rows.t_s[-1]))
    return (session, int(is_settled), *times, len(rows), encode(rows, calibrations))
