"""A recording in memory: one session as it was sensed."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from firmware_bridge.blocks import Block
from logger.measure.marks import Mark
from logger.record.rows import EMPTY, Rows, cut


@dataclass(frozen=True, slots=True)
class Recording:
    """session: the keys of session.json. rows: all readings in order; `rows.channel` counts along `channels`."""

    session: dict
    rows: Rows = EMPTY
    marks: list[Mark] = field(default_factory=list)

    @property
    def channels(self) -> dict[str, dict]:
        """Channel name → {"unit", "rate_hz"}."""
        return self.session["channels"]

    @property
    def session_id(self) -> str:
        """Unique within the cart."""
        return self.session["session_id"]

    def batches(self, size: int | None = None) -> Iterator[list[Block] | Mark]:
        """All there is in total order: readings as lists of blocks of at most `size` readings together (None: as many
        as lie between two marks), and each mark after every reading up to and including its time."""
        stops = np.searchsorted(self.rows.t_s, [mark.t_s for mark in self.marks], side="right").tolist()
        places = self._places(stops, size)
        pieces = cut(self.rows, list(self.channels), places)
        done = 0
        for stop, mark in zip(stops, self.marks, strict=True):
            upto = bisect_left(places, stop)
            for _ in range(done, upto):
                yield next(pieces)
            done = upto
            yield mark
        yield from pieces

    def _places(self, stops: list[int], size: int | None) -> list[int]:
        """Where to cut: at every mark, at the end, and so that no piece is longer than `size`."""
        edges = sorted({0, *stops, len(self.rows)})
        if size is None:
            return edges
        within = [range(a, b, size) for a, b in zip(edges, edges[1:], strict=False)]
        return [place for part in within for place in part] + edges[-1:]
