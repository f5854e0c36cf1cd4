"""Host time into session time, and many sources' blocks into one order that stays."""

from __future__ import annotations

import numpy as np

from firmware_bridge.blocks import Block

STEP_S = 1e-6
MARK_BEHIND_S = 0.2
"""A mark is dated so far back that readings still on their way keep their own times."""
SILENT_S, SILENT_REAL_S = 1.0, 0.5


class SessionTime:
    """The order in which one session is handed on: session time never goes back, readings before marks of their time.

    origin_s: host time (s) of session time 0. floor_s: session time before which nothing may be any more. speed: how
    fast the host's clock runs; on a fast one a machine's hiccup is a long time.
    """

    def __init__(self, origin_s: float, floor_s: float = 0.0, speed: float = 1.0):
        self.origin_s = origin_s
        self._floor_s = floor_s
        self._mark_behind_s = MARK_BEHIND_S * speed
        self._silent_s = max(SILENT_S, SILENT_REAL_S * speed)

    @property
    def floor_s(self) -> float:
        return self._floor_s

    def of(self, host_s: float) -> float:
        """Session time (s) of a host time."""
        return round(host_s - self.origin_s, 6)

    def merge(self, blocks: list[Block]) -> list[Block]:
        """One block a channel, in session time. A reading older than the last one handed on gets that one's time; one
        from before the session is left out."""
        by_channel: dict[str, list[Block]] = {}
        for block in blocks:
            by_channel.setdefault(block.channel, []).append(block)
        merged = [self._one(parts) for parts in by_channel.values()]
        merged = [block for block in merged if len(block)]
        self._floor_s = max([self._floor_s, *(float(block.t_s[-1]) for block in merged)])
        return merged

    def mark(self, host_s: float) -> float:
        """The time (s) of something told at `host_s`; readings handed on from now on come after it."""
        t_s = max(self._floor_s, self.of(host_s - self._mark_behind_s))
        self._floor_s = round(t_s + STEP_S, 6)
        return t_s

    def silence(self, host_s: float) -> float | None:
        """When no source has said anything for a while, the time (s) that can be taken as past; else None."""
        t_s = self.of(host_s - self._silent_s)
        if t_s <= self._floor_s:
            return None
        self._floor_s = round(t_s + STEP_S, 6)
        return t_s

    def _one(self, parts: list[Block]) -> Block:
        host_s = np.concatenate([part.t_s for part in parts])
        t_s = np.round(host_s - self.origin_s, 6)
        keep = t_s >= 0.0
        t_s = np.maximum.accumulate(np.maximum(t_s[keep], self._floor_s)) if keep.any() else t_s[keep]
        value = np.concatenate([part.value for part in parts])[keep]
        codes = [part.code for part in parts]
        code = None if any(c is None for c in codes) else np.concatenate(codes)[keep]
        return Block(parts[0].channel, t_s, value, code)
