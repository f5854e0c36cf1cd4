"""The last seconds of every sensor: how often it really speaks, and how much it trembles."""

from __future__ import annotations

import threading
from collections import deque

import numpy as np

from firmware_bridge.blocks import Block

WINDOW_S = 20.0
FEWEST = 8


class RecentSensors:
    """`take` from the sources' threads, `state` from any other."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: dict[str, deque[tuple[np.ndarray, np.ndarray]]] = {}

    def take(self, blocks: list[Block]) -> None:
        """Readings in clock time; those older than a while before the newest are let go."""
        with self._lock:
            for block in blocks:
                if len(block.t_s) == 0:
                    continue
                kept = self._kept.setdefault(block.channel, deque())
                kept.append((block.t_s, block.value))
                while kept[0][0][-1] < block.t_s[-1] - WINDOW_S:
                    kept.popleft()

    def state(self) -> dict[str, dict[str, float | None]]:
        """Channel → rate_hz and noise (one standard deviation, in the channel's unit); None below a few readings."""
        with self._lock:
            parts = {name: list(kept) for name, kept in self._kept.items()}
        return {name: _judged(*_joined(kept)) for name, kept in parts.items()}


def _joined(kept: list[tuple[np.ndarray, np.ndarray]]) -> list[np.ndarray]:
    return [np.concatenate(column) for column in zip(*kept, strict=True)]


def _judged(t_s: np.ndarray, value: np.ndarray) -> dict[str, float | None]:
    """Noise by successive differences (von Neumann and others, Ann. Math. Stat. 12, 1941, 153), which a slow change of
    the quantity itself does not enter."""
    if len(t_s) < FEWEST or t_s[-1] <= t_s[0]:
        return {"rate_hz": None, "noise": None}
    rate_hz = float((len(t_s) - 1) / (t_s[-1] - t_s[0]))
    steps = np.diff(value[np.isfinite(value)])
    noise = float(np.sqrt(np.mean(steps**2) / 2.0)) if len(steps) >= FEWEST - 1 else None
    return {"rate_hz": rate_hz, "noise": noise}
