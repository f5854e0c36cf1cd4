"""From the store's rows back to readings: channels with their calibration, chunks as columns."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass

from firmware_bridge.calibration import Calibration
from logger.record.chunks import Apply, decode
from logger.record.rows import Rows, concat


@dataclass(frozen=True, slots=True)
class Channels:
    """A session's channels: names in order of their numbers, units, and the calibration of those that have one."""

    names: tuple[str, ...]
    units: tuple[str, ...]
    calibrations: dict[int, Apply]


def channels_of(connection: sqlite3.Connection, session: int) -> Channels:
    """The channels of the session with database number `session`."""
    found = connection.execute("SELECT * FROM channel WHERE session = ? ORDER BY number", (session,)).fetchall()
    points = {row["number"]: json.loads(row["points"]) for row in found if row["points"]}
    return Channels(tuple(r["name"] for r in found), tuple(r["unit"] for r in found), calibrations_of(points))


def calibrations_of(points: dict[int, list]) -> dict[int, Apply]:
    """Channel number → calibration, from channel number → points. Raises CalibrationError."""
    return {number: Calibration(pairs).apply for number, pairs in points.items()}


def rows_of(chunks: Iterable[sqlite3.Row], channels: Channels, only: int | None = None) -> Rows:
    """The readings of the given rows of the table `chunk`, in order; `only` one channel's. Raises StoreError."""
    return concat([decode(chunk["data"], channels.calibrations, only) for chunk in chunks])
