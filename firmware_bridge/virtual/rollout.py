"""A scenario played as fast as it will go, without wires: what a recording of it would hold, and the truth."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from firmware_bridge.blocks import Block
from firmware_bridge.virtual.run import Run
from firmware_bridge.virtual.senses import Sampler, Sense
from firmware_bridge.virtual.setting import Scenario
from firmware_bridge.virtual.technician import PlacedMark
from firmware_bridge.virtual.truth import truth_of

Listener = Callable[[list[Block]], Iterable[str]]
"""Gets what was sensed since its last call, says which alerts that raised."""
MarkListener = Callable[[float, str, dict], None]
"""Gets a mark (time, mark, detail) after every sample up to its time."""


@dataclass
class Rollout:
    """What came of it. t_s, channel, value: arrays of one length in total order; `channel` indexes `channels`.

    setup: keys of a recording's session.json. marks: (t_s, mark, detail). heard: (t_s, alert code) as the technician
    heard it.
    """

    setup: dict
    channels: tuple[str, ...]
    t_s: np.ndarray
    channel: np.ndarray
    value: np.ndarray
    marks: list[PlacedMark]
    truth: dict
    heard: list[tuple[float, str]] = field(default_factory=list)

    def readings(self, channel: str) -> tuple[np.ndarray, np.ndarray]:
        """Times and values of one channel."""
        mine = self.channel == self.channels.index(channel)
        return self.t_s[mine], self.value[mine]

    def batches(self, every_s: float) -> Iterator[list[Block] | PlacedMark]:
        """All readings cut every so many seconds and at marks, and the marks in their places, in total order."""
        cuts = list(np.arange(every_s, self.t_s[-1] + every_s, every_s)) if len(self.t_s) else []
        moments = sorted([(float(t_s), 1, None) for t_s in cuts] + [(mark[0], 0, mark) for mark in self.marks])
        start = 0
        for t_s, _, mark in moments:
            end = int(np.searchsorted(self.t_s, t_s, side="right"))
            if end > start:
                yield self._blocks(start, end)
                start = end
            if mark:
                yield mark

    def _blocks(self, start: int, end: int) -> list[Block]:
        t_s, channel, value = self.t_s[start:end], self.channel[start:end], self.value[start:end]
        return [Block(self.channels[c], t_s[channel == c], value[channel == c]) for c in np.unique(channel)]


def rollout(
    scenario: Scenario, listener: Listener | None = None, on_mark: MarkListener | None = None, look_s: float = 0.2
) -> Rollout:
    """Play `scenario` to its end. With a `listener` the loop is closed: the technician hears what it raises.

    listener and on_mark are called in total order; the listener about every `look_s` of the scenario's time.
    """
    run = Run(scenario)
    sampler = Sampler(run)
    heard: list[tuple[float, str]] = []
    run.technician.on_mark = _hand_over(sampler, run, listener, on_mark, heard)
    steps = max(round(look_s / scenario.step_s), 1)
    while not run.finished:
        for _ in range(steps):
            if run.finished:
                break
            run.step()
        if listener:
            _look(sampler, run, listener, heard)
    sampler.take(run.plant.t_s)
    return _result(run, sampler, heard)


def setup_of(scenario: Scenario, channels: dict[str, Sense]) -> dict:
    """What session.json says of this scenario."""
    low_g, high_g = scenario.placard_g
    return {
        "format": "tarebook-recording",
        "version": 1,
        "session_id": f"virtual-{scenario.seed}",
        "cart_id": "virtual-cart",
        "started_utc": "2024-05-14T08:00:00Z",
        "refrigerant": scenario.refrigerant,
        "placard": {"low_g": low_g, "high_g": high_g},
        "target_g": scenario.target_g,
        "hose_volume_ml": scenario.hose.volume_ml,
        "system_volume_ml": scenario.vehicle.volume_ml,
        "close_lag_s": scenario.technician.close_lag_s,
        "altitude_m": scenario.air.altitude_m,
        "channels": {name: {"unit": sense.unit, "rate_hz": sense.rate_hz} for name, sense in channels.items()},
        **scenario.session,
    }


def _look(sampler: Sampler, run: Run, listener: Listener, heard: list[tuple[float, str]]) -> None:
    blocks = sampler.take(run.plant.t_s)
    for code in listener(blocks) if blocks else ():
        heard.append((run.plant.t_s, code))
        run.technician.hear(code)


def _hand_over(
    sampler: Sampler, run: Run, listener: Listener | None, on_mark: MarkListener | None, heard: list[tuple[float, str]]
) -> MarkListener | None:
    """A mark's way out: first all that was sensed before it, then the mark."""
    if on_mark is None:
        return None

    def made(t_s: float, mark: str, detail: dict) -> None:
        if listener:
            _look(sampler, run, listener, heard)
        on_mark(t_s, mark, detail)

    return made


def _result(run: Run, sampler: Sampler, heard: list[tuple[float, str]]) -> Rollout:
    names = tuple(sampler.times)
    times = [np.concatenate(sampler.times[name] or [np.empty(0)]) for name in names]
    values = [np.concatenate(sampler.readings[name] or [np.empty(0)]) for name in names]
    channel = np.repeat(np.arange(len(names)), [len(t_s) for t_s in times])
    t_s = np.concatenate(times)
    order = np.argsort(t_s, kind="stable")
    return Rollout(
        setup=setup_of(run.scenario, sampler.errors.senses),
        channels=names,
        t_s=t_s[order],
        channel=channel[order],
        value=np.concatenate(values)[order],
        marks=run.technician.marks,
        truth=truth_of(run),
        heard=heard,
    )
