"""Whole seconds of session time, each with every channel's latest value and mean.

A second k closes when a sample later than k has come; it holds the samples with k - 1 < t <= k. Samples are kept raw
until their second closes, so that the sums do not depend on how the stream was cut.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from firmware_bridge.blocks import Block
from logger.session.setup import ChannelInfo
from logger.session.tremor import Second, Tremor, tremors

STALE_PERIODS = 10.0
STALE_LEAST_S = 1.0
FAULT_AFTER_S = 1.0
FROZEN_S = {"scale": 3}
FROZEN_OTHER_S = 10

Row = tuple[float, float, float, float, Second | None]


@dataclass(slots=True)
class ChannelState:
    """One channel as of the last closed second; times in session seconds."""

    info: ChannelInfo
    stale_after_s: float
    t: list[np.ndarray] = field(default_factory=list)
    v: list[np.ndarray] = field(default_factory=list)
    last_t_s: float | None = None
    last_value: float | None = None
    heard_t_s: float | None = None
    newest: tuple[float, float] | None = None
    quality_now: str = "stale"
    newest_heard_s: float | None = None
    tremor: Tremor = field(default_factory=Tremor)

    def quality(self, now_s: float) -> str:
        """As of `now_s`: "good", "stale" (nothing heard for ten periods), "fault" (nothing valid heard, or frozen)."""
        if self.heard_t_s is None or now_s - self.heard_t_s > self.stale_after_s:
            return "stale"
        if self.tremor.frozen:
            return "fault"
        if self.last_t_s is None or now_s - self.last_t_s > max(FAULT_AFTER_S, self.stale_after_s):
            return "fault"
        return "good"


class Ticker:
    """Gathers blocks of every channel and closes whole seconds."""

    def __init__(self, channels: dict[str, ChannelInfo]):
        self.channels = {
            name: ChannelState(
                info,
                max(STALE_LEAST_S, STALE_PERIODS / info.rate_hz) if info.rate_hz > 0 else 60.0,
                tremor=Tremor(FROZEN_S.get(name, FROZEN_OTHER_S)),
            )
            for name, info in channels.items()
        }
        self.closed = 0
        self.now_s = 0.0

    def feed(self, block: Block) -> None:
        if not len(block):
            return
        state = self.channels.get(block.channel)
        if state is None:
            state = self.channels[block.channel] = ChannelState(ChannelInfo("", 1.0), 10.0)
        state.t.append(block.t_s)
        state.v.append(block.value)
        state.newest_heard_s = float(block.t_s[-1])
        valid = np.flatnonzero(np.isfinite(block.value))
        if len(valid):
            state.newest = float(block.t_s[valid[-1]]), float(block.value[valid[-1]])
        self.now_s = max(self.now_s, float(block.t_s[-1]))

    def due(self) -> int:
        """The last second that can be closed by now."""
        return int(np.ceil(self.now_s)) - 1

    def close_until(self, last: int) -> dict[str, dict[int, Row]]:
        """Of each channel, second -> (mean of valid values, last valid value, its time, last time heard, tremor)."""
        return {name: _close(state, last) for name, state in self.channels.items() if state.t}

    def enter(self, k: int, seconds: dict[str, dict[int, tuple]]) -> dict[str, float]:
        """Make second `k` the present one, and judge every channel's `quality_now`; returns its means."""
        means = {}
        for name, rows in seconds.items():
            row = rows.get(k)
            if row is None:
                continue
            mean, value, at_s, heard_s, second = row
            state = self.channels[name]
            state.heard_t_s = heard_s
            if second is not None:
                state.tremor.update(second)
                state.last_value, state.last_t_s = value, at_s
                means[name] = mean
        for state in self.channels.values():
            state.quality_now = state.quality(k)
        return means

    def good(self) -> dict[str, float]:
        """Latest value of each channel that is neither stale nor faulty in the present second."""
        return {
            name: state.last_value
            for name, state in self.channels.items()
            if state.last_value is not None and state.quality_now == "good"
        }

    def snapshot(self, now_s: float) -> dict[str, dict]:
        """The `channels` object of /api/now, from the newest reading of each."""
        return {name: _channel_now(state, now_s) for name, state in self.channels.items()}


def _channel_now(state: ChannelState, now_s: float) -> dict:
    heard_ago = None if state.newest_heard_s is None else now_s - state.newest_heard_s
    valid_ago = None if state.newest is None else now_s - state.newest[0]
    quality = "good"
    if heard_ago is None or heard_ago > state.stale_after_s:
        quality = "stale"
    elif valid_ago is None or valid_ago > max(FAULT_AFTER_S, state.stale_after_s) or state.tremor.frozen:
        quality = "fault"
    value = None if state.newest is None else state.newest[1]
    return {"value": value, "unit": state.info.unit, "age_s": valid_ago, "quality": quality}


def _close(state: ChannelState, last: int) -> dict[int, Row]:
    """Take the samples up to second `last` out of the state and sum them up by second."""
    t, v = np.concatenate(state.t), np.concatenate(state.v)
    end = int(np.searchsorted(t, last, side="right"))
    state.t, state.v = ([t[end:]], [v[end:]]) if end < len(t) else ([], [])
    if not end:
        return {}
    t, v = t[:end], v[:end]
    second = np.ceil(t)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(second)) + 1])
    ends = np.concatenate([starts[1:], [end]])
    heard = dict(zip(second[starts].astype(int).tolist(), t[ends - 1].tolist(), strict=True))
    valid = np.isfinite(v)
    rows = {k: (np.nan, np.nan, np.nan, h, None) for k, h in heard.items()}
    if valid.any():
        rows |= _means(t[valid], v[valid], second[valid], heard)
    return rows


def _means(t: np.ndarray, v: np.ndarray, second: np.ndarray, heard: dict[int, float]) -> dict[int, Row]:
    starts = np.concatenate([[0], np.flatnonzero(np.diff(second)) + 1])
    ends = np.concatenate([starts[1:], [len(t)]])
    means = np.add.reduceat(v, starts) / (ends - starts)
    keys = second[starts].astype(int).tolist()
    columns = zip(keys, means.tolist(), v[ends - 1].tolist(), t[ends - 1].tolist(), tremors(v, starts), strict=True)
    return {k: (m, value, at, heard[k], tremor) for k, m, value, at, tremor in columns}
