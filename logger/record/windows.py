"""What of the store holds a window of one channel: raw chunks where it is short, whole seconds where it is long."""

from __future__ import annotations

import math
import sqlite3

import numpy as np

from logger.record.decoding import Channels, rows_of
from logger.record.rollup import Spans, of_rows
from logger.record.rows import Rows

Window = tuple[float, float]
"""From and to, both included, in seconds of the session."""

_CHUNKS = """
SELECT data FROM chunk WHERE session = ? AND last_t_s >= ? AND first_t_s <= ? AND settled >= ? AND settled <= ?
ORDER BY first_t_s, id"""
_SECONDS = """
SELECT second, low, high, mean, readings FROM second
WHERE session = ? AND channel = ? AND second >= ? AND second < ? ORDER BY second"""


def finest(
    connection: sqlite3.Connection,
    number: int,
    channels: Channels,
    only: int,
    window: Window,
    settled: tuple[int, int] = (0, 1),
) -> Rows:
    """Every reading of channel number `only` in the window; `settled` (1, 1) of settled chunks, (0, 0) of others."""
    chunks = connection.execute(_CHUNKS, (number, *window, *settled))
    rows = rows_of(chunks, channels, only)
    first, end = np.searchsorted(rows.t_s, window[0]), np.searchsorted(rows.t_s, window[1], side="right")
    return rows[slice(first, end)]


def seconds_between(
    connection: sqlite3.Connection, number: int, channels: Channels, only: int, window: Window
) -> list[Spans]:
    """The window in parts: whole seconds that are settled, and single readings at its edges and of the last minute."""
    inner = (math.ceil(window[0]), math.floor(window[1]))
    found = connection.execute(_SECONDS, (number, only, *inner)).fetchall()
    columns = np.array([tuple(row) for row in found], float).reshape(-1, 5).T
    whole = Spans(*columns[:4], columns[4].astype(np.int64))
    before, after = (window[0], np.nextafter(inner[0], -math.inf)), (float(inner[1]), window[1])
    edges = [finest(connection, number, channels, only, edge, (1, 1)) for edge in (before, after) if edge[0] <= edge[1]]
    newest = finest(connection, number, channels, only, window, (0, 0))
    return [whole, *(of_rows(rows) for rows in (*edges, newest))]
