"""Small made-up fills for tests: a container's true mass against time, what touches it, and noise, as blocks."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from firmware_bridge.blocks import Block


@dataclass
class Fill:
    """A container of `gross_g` placed at `placed_s`; flow_g_per_s from opened_s to closed_s; touches: (from, to, g)."""

    gross_g: float = 5000.0
    placed_s: float = 5.0
    opened_s: float = 30.0
    closed_s: float = 130.0
    flow_g_per_s: float = 2.0
    lifted_s: float | None = None
    end_s: float = 160.0
    rate_hz: float = 10.0
    noise_g: float = 1.0
    seed: int = 1
    touches: list[tuple[float, float, float]] = field(default_factory=list)

    def times(self) -> np.ndarray:
        return np.round(np.arange(0.03, self.end_s, 1.0 / self.rate_hz), 6)

    def true_gross_g(self, t_s: np.ndarray) -> np.ndarray:
        on = (t_s >= self.placed_s) & (t_s < (self.lifted_s or np.inf))
        return on * (self.gross_g - self.drawn_g(t_s))

    def drawn_g(self, t_s: np.ndarray | float) -> np.ndarray:
        return self.flow_g_per_s * np.clip(np.asarray(t_s) - self.opened_s, 0.0, self.closed_s - self.opened_s)

    def scale(self) -> Block:
        t = self.times()
        g = self.true_gross_g(t) + np.random.default_rng(self.seed).normal(0.0, self.noise_g, len(t))
        for from_s, to_s, touch_g in self.touches:
            g[(t >= from_s) & (t < to_s)] += touch_g
        return Block("scale", t, np.round(g, 2))


def cut(blocks: list[Block], edges_s: list[float]) -> list[list[Block]]:
    """The same samples as batches that end at the given times."""
    bounds = [-np.inf, *sorted(edges_s), np.inf]
    batches = []
    for low, high in zip(bounds, bounds[1:], strict=False):
        batch = []
        for block in blocks:
            pick = (block.t_s > low) & (block.t_s <= high)
            if pick.any():
                batch.append(Block(block.channel, block.t_s[pick], block.value[pick]))
        batches.append(batch)
    return batches
