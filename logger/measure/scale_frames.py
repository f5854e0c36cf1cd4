"""From the scale's samples to frames: at most about ten a second, each a robust mean of what lies in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_bridge.blocks import Block

FRAME_S = 0.1
SAMPLE_IS_FRAME_BELOW_HZ = 20.0


@dataclass(frozen=True, slots=True)
class Frame:
    """One weighing. `t_s` is its middle, `known_t_s` the time of the sample that completed it, `gross_g` its mass."""

    t_s: float
    known_t_s: float
    gross_g: float


class Framer:
    """Cuts the scale's samples into frames, the same whatever blocks they come in.

    A slow converter's every sample is a frame. A fast one's samples are gathered on a grid of `FRAME_S`; a frame is
    complete when the first sample beyond it has come, and its mass is the mean without the lowest and the highest,
    so that a single wild word cannot reach the filter. Samples that came late in one burst bear one time: the first of
    them is a frame, since no frame may be as old as the one before it.
    """

    def __init__(self, rate_hz: float):
        self._gather = rate_hz > SAMPLE_IS_FRAME_BELOW_HZ
        self._t = np.empty(0)
        self._g = np.empty(0)
        self._last_t_s = -np.inf
        self.invalid = 0

    def feed(self, block: Block) -> list[Frame]:
        """Frames completed by this block, oldest first."""
        valid = np.isfinite(block.value)
        t, g = block.t_s[valid], block.value[valid]
        self.invalid += len(block) - len(t)
        if not self._gather:
            return self._one_by_one(t, g)
        return self._on_grid(np.concatenate([self._t, t]), np.concatenate([self._g, g]))

    def _one_by_one(self, t: np.ndarray, g: np.ndarray) -> list[Frame]:
        later = np.diff(t, prepend=self._last_t_s) > 0.0
        self._last_t_s = float(t[-1]) if len(t) else self._last_t_s
        return [Frame(a, a, b) for a, b in zip(t[later].tolist(), g[later].tolist(), strict=True)]

    def _on_grid(self, t: np.ndarray, g: np.ndarray) -> list[Frame]:
        key = np.floor(t / FRAME_S)
        starts = np.concatenate([[0], np.flatnonzero(np.diff(key)) + 1]) if len(t) else np.empty(0, int)
        if len(starts) < 2:
            self._t, self._g = t, g
            return []
        last = starts[-1]
        self._t, self._g = t[last:], g[last:]
        count = np.diff(starts)
        gross = _trimmed_mean(g[:last], starts[:-1], count)
        middle = np.add.reduceat(t[:last], starts[:-1]) / count
        return [Frame(*row) for row in zip(middle.tolist(), t[starts[1:]].tolist(), gross.tolist(), strict=True)]


def _trimmed_mean(g: np.ndarray, starts: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Mean of each group without its lowest and highest where it has four or more samples."""
    total = np.add.reduceat(g, starts)
    trimmed = total - np.minimum.reduceat(g, starts) - np.maximum.reduceat(g, starts)
    return np.where(count >= 4, trimmed / np.maximum(count - 2, 1), total / count)
