"""What befalls a sensor's readings on their way: a fault takes a look's blocks and gives what would arrive instead."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from firmware_bridge.blocks import Block

Pair = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Fault:
    """`kind` (a key of `KINDS`, or "swapped") on `channel` from `start_s` to `end_s` of the scenario.

    size: what the kind makes of it, in the channel's unit or as its comment says. other: the channel swapped with.
    """

    kind: str
    channel: str
    start_s: float = 0.0
    end_s: float = float("inf")
    size: float = 0.0
    other: str = ""


class Injector:
    """Applies one fault to a stream; what it does depends on the fault, the seed and the readings alone."""

    def __init__(self, fault: Fault | None, seed: int = 1):
        self.fault = fault
        self.rng = np.random.default_rng([seed, 77])
        self.before: float | None = None
        self.next_s = -np.inf
        self.held: list[Block] = []

    def __call__(self, blocks: list[Block]) -> list[Block]:
        """What arrives in place of `blocks`; none of it need be ordered, as with real links."""
        if self.fault is None or not blocks:
            return blocks
        now_s = max(float(block.t_s[-1]) for block in blocks)
        arrived = [part for block in blocks for part in self._one(block)]
        return self._delayed(arrived, now_s) if self.fault.kind == "late" else arrived

    def _one(self, block: Block) -> list[Block]:
        fault = self.fault
        inside = (block.t_s >= fault.start_s) & (block.t_s < fault.end_s)
        if fault.kind == "swapped" and block.channel in (fault.channel, fault.other):
            there = fault.other if block.channel == fault.channel else fault.channel
            return _parts(block, ~inside) + _parts(block, inside, there)
        if block.channel != fault.channel or fault.kind in ("late", "swapped"):
            return [block]
        if len(before := block.value[~inside & np.isfinite(block.value)]):
            self.before = float(before[-1])
        if not inside.any():
            return [block]
        t_s, value = KINDS[fault.kind](self, block.t_s[inside], block.value[inside].copy())
        return _parts(block, ~inside) + ([Block(block.channel, t_s, value)] if len(t_s) else [])

    def _delayed(self, blocks: list[Block], now_s: float) -> list[Block]:
        """The channel's readings come in bursts, one every `size` seconds."""
        fault = self.fault
        mine = [block for block in blocks if block.channel == fault.channel]
        others = [block for block in blocks if block.channel != fault.channel]
        self.held += mine
        if fault.start_s <= now_s < fault.end_s and now_s < self.next_s:
            return others
        self.next_s = now_s + fault.size
        released, self.held = self.held, []
        return others + released


def _parts(block: Block, pick: np.ndarray, channel: str | None = None) -> list[Block]:
    return [Block(channel or block.channel, block.t_s[pick], block.value[pick])] if pick.any() else []


# --- the kinds: (injector, times, values inside the fault) -> what arrives


def _dead(_: Injector, t_s: np.ndarray, value: np.ndarray) -> Pair:
    return t_s[:0], value[:0]


def _stuck(injector: Injector, t_s: np.ndarray, value: np.ndarray) -> Pair:
    """The last value before, to the last digit."""
    return t_s, np.full(len(t_s), value[0] if injector.before is None else injector.before)


def _invalid(_: Injector, t_s: np.ndarray, value: np.ndarray) -> Pair:
    """The driver saw a rail and said so."""
    return t_s, np.full(len(t_s), np.nan)


def _railed(injector: Injector, t_s: np.ndarray, value: np.ndarray) -> Pair:
    """At its full scale, and nobody said so."""
    return t_s, np.full(len(t_s), injector.fault.size)


def _noisy(injector: Injector, t_s: np.ndarray, value: np.ndarray) -> Pair:
    return t_s, value + injector.rng.normal(0.0, injector.fault.size, len(t_s))


def _spiking(injector: Injector, t_s: np.ndarray, value: np.ndarray) -> Pair:
    """One reading in twenty far off, either way."""
    hit = injector.rng.random(len(t_s)) < 0.05
    return t_s, value + hit * injector.fault.size * injector.rng.choice([-1.0, 1.0], len(t_s))


def _slow(injector: Injector, t_s: np.ndarray, value: np.ndarray) -> Pair:
    """One reading every `size` seconds."""
    keep = np.zeros(len(t_s), bool)
    for k, t in enumerate(t_s.tolist()):
        if t >= injector.next_s:
            keep[k], injector.next_s = True, t + injector.fault.size
    return t_s[keep], value[keep]


def _wrong_scale(injector: Injector, t_s: np.ndarray, value: np.ndarray) -> Pair:
    """`size` times what it should be."""
    return t_s, value * injector.fault.size


def _shifted(injector: Injector, t_s: np.ndarray, value: np.ndarray) -> Pair:
    return t_s, value + injector.fault.size


def _intermittent(injector: Injector, t_s: np.ndarray, value: np.ndarray) -> Pair:
    """A loose wire: gone for half of every `size` seconds."""
    keep = (t_s - injector.fault.start_s) % injector.fault.size >= 0.5 * injector.fault.size
    return t_s[keep], value[keep]


KINDS: dict[str, Callable[[Injector, np.ndarray, np.ndarray], Pair]] = {
    "dead": _dead,
    "stuck": _stuck,
    "saturated": _invalid,
    "railed": _railed,
    "noisy": _noisy,
    "spiking": _spiking,
    "slow": _slow,
    "wrong scale": _wrong_scale,
    "shifted": _shifted,
    "intermittent": _intermittent,
}
