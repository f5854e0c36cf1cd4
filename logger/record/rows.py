"""Readings of all channels of one session as columns, in the order in which they were handed on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from firmware_bridge.blocks import Block

NO_CODE = 2**40
"""Stands in `code` where the source knew only a calibrated value; outside the range of any int32 code."""


@dataclass(frozen=True, slots=True)
class Rows:
    """One reading a row; `t_s` never decreases.

    t_s: float64 (n,) seconds of the session. channel: uint8 (n,), index into the session's channel names.
    value: float64 (n,), NaN where invalid. code: int64 (n,) with NO_CODE where there was none; None: nowhere one.
    """

    t_s: np.ndarray
    channel: np.ndarray
    value: np.ndarray
    code: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.t_s)

    def __getitem__(self, part: slice | np.ndarray) -> Rows:
        code = None if self.code is None else self.code[part]
        return Rows(self.t_s[part], self.channel[part], self.value[part], code)


EMPTY = Rows(np.empty(0), np.empty(0, np.uint8), np.empty(0))


def concat(parts: Sequence[Rows]) -> Rows:
    """One after the other."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return EMPTY
    columns = [np.concatenate([getattr(p, name) for p in parts]) for name in ("t_s", "channel", "value")]
    if all(p.code is None for p in parts):
        return Rows(*columns)
    return Rows(*columns, np.concatenate([codes_of(p) for p in parts]))


def codes_of(rows: Rows) -> np.ndarray:
    """The codes as int64 (n,), NO_CODE where there was none."""
    return np.full(len(rows), NO_CODE, np.int64) if rows.code is None else rows.code


def from_blocks(blocks: Sequence[Block], index: dict[str, int]) -> Rows:
    """The blocks of one look merged by time, ties in the order of the list. KeyError: a channel not in `index`."""
    parts = [_from_block(block, index[block.channel]) for block in blocks if len(block)]
    rows = concat(parts)
    if len(parts) < 2:
        return rows
    return rows[np.argsort(rows.t_s, kind="stable")]


def _from_block(block: Block, number: int) -> Rows:
    code = None if block.code is None else np.asarray(block.code, np.int64)
    t_s = np.asarray(block.t_s, float)
    return Rows(t_s, np.full(len(t_s), number, np.uint8), np.asarray(block.value, float), code)


@dataclass(frozen=True, slots=True)
class _Lane:
    """One channel's readings with their places in the total order."""

    place: np.ndarray
    rows: Rows


def cut(rows: Rows, names: Sequence[str], places: Sequence[int]) -> Iterator[list[Block]]:
    """The rows between each two of the ascending `places`, as one list of blocks (views, not copies) each."""
    places = np.asarray(places)
    lanes = {name: _lane(rows, number) for number, name in enumerate(names)}
    lanes = {name: lane for name, lane in lanes.items() if len(lane.place)}
    edges = {name: np.searchsorted(lane.place, places).tolist() for name, lane in lanes.items()}
    for k in range(len(places) - 1):
        yield [
            _block(name, lane.rows[slice(edges[name][k], edges[name][k + 1])])
            for name, lane in lanes.items()
            if edges[name][k] < edges[name][k + 1]
        ]


def _lane(rows: Rows, number: int) -> _Lane:
    place = np.flatnonzero(rows.channel == number)
    return _Lane(place, rows[place])


def _block(name: str, rows: Rows) -> Block:
    coded = rows.code is not None and len(rows) and bool((rows.code != NO_CODE).all())
    return Block(name, rows.t_s, rows.value, rows.code.astype(np.int32) if coded else None)
