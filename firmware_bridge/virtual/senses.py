"""What each channel's sensor says of the plant: when it samples, how wrong it is, how coarse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_bridge.blocks import Block
from firmware_bridge.virtual.run import COLUMNS, Run
from firmware_bridge.virtual.setting import Scenario

_JITTER_S = 0.003


@dataclass(frozen=True)
class Sense:
    """One channel's sensor: reading = (truth + offset) * (1 + relative * noise) + noise_sd * noise, rounded."""

    quantity: str
    unit: str
    rate_hz: float
    noise_sd: float
    resolution: float
    offset_sd: float = 0.0
    relative: float = 0.0


def senses(scenario: Scenario) -> dict[str, Sense]:
    """All channels of the virtual cart."""

    def probe(quantity: str) -> Sense:
        return Sense(quantity, "°C", 1.0, 0.03, 0.0625, offset_sd=0.2)

    return {
        "scale": Sense("load_g", "g", scenario.sensors.scale_rate_hz, 0.0, scenario.sensors.resolution_g),
        "low_side": Sense("low_kpa", "kPa", 5.0, 1.0, 0.5, offset_sd=1.5),
        "high_side": Sense("high_kpa", "kPa", 5.0, 1.2, 0.5, offset_sd=2.0, relative=0.003),
        "vacuum": Sense("vacuum_pa", "Pa", 2.0, 0.4, 0.1, relative=0.02),
        "ambient_temp": probe("ambient_c"),
        "vent_temp": probe("vent_c"),
        "container_temp": probe("container_c"),
        "suction_temp": probe("suction_c"),
        "liquid_temp": probe("liquid_c"),
        "barometer": Sense("barometer_kpa", "kPa", 0.1, 0.02, 0.01),
        "humidity": Sense("humidity_pct", "%", 0.1, 0.2, 0.1),
    }


class SenseErrors:
    """Turns true quantities into readings; each sensor's own offset is drawn from the scenario's seed."""

    def __init__(self, run: Run):
        self.run = run
        self.senses = senses(run.scenario)
        rng = np.random.default_rng([run.scenario.seed, 23])
        self._offset = {name: rng.normal(0.0, 1.0) * sense.offset_sd for name, sense in self.senses.items()}

    def read(self, channel: str, t_s: np.ndarray, rows: np.ndarray, white: np.ndarray) -> np.ndarray:
        """Readings at `t_s` from trace `rows` around them (rows, columns of `COLUMNS`); `white` is standard normal."""
        sense = self.senses[channel]
        truth = np.interp(t_s, rows[:, 0], rows[:, COLUMNS[sense.quantity]])
        if channel == "scale":
            engine = np.interp(t_s, rows[:, 0], rows[:, COLUMNS["engine"]])
            return self.run.platform.reading_g(t_s, truth, engine, white)
        value = (truth + self._offset[channel]) * (1.0 + sense.relative * white) + sense.noise_sd * white
        if channel == "vacuum":
            value = np.minimum(np.maximum(value, 0.0), self.run.scenario.sensors.vacuum_full_scale_pa)
        return np.round(value / sense.resolution) * sense.resolution


class Sampler:
    """Samples every channel at its own rate with a few milliseconds of jitter; what comes depends on the seed alone."""

    def __init__(self, run: Run):
        self.run = run
        self.errors = SenseErrors(run)
        self.readings: dict[str, list[np.ndarray]] = {name: [] for name in self.errors.senses}
        self.times: dict[str, list[np.ndarray]] = {name: [] for name in self.errors.senses}
        rng = np.random.default_rng([run.scenario.seed, 31])
        self._t = {name: self._schedule(sense.rate_hz, rng) for name, sense in self.errors.senses.items()}
        self._white = {name: rng.standard_normal(len(t_s)) for name, t_s in self._t.items()}
        self._next = dict.fromkeys(self._t, 0)
        self._row = 0

    def take(self, until_s: float) -> list[Block]:
        """Blocks of every sample since the last call and not after `until_s`, which the trace must have reached."""
        rows = np.array(self.run.trace[self._row :])
        blocks = [block for name in self._t if (block := self._take_channel(name, until_s, rows))]
        self._row = max(len(self.run.trace) - 2, 0)
        return blocks

    def _take_channel(self, name: str, until_s: float, rows: np.ndarray) -> Block | None:
        first = self._next[name]
        last = int(np.searchsorted(self._t[name], until_s, side="right"))
        if last <= first:
            return None
        self._next[name] = last
        t_s = self._t[name][first:last]
        value = self.errors.read(name, t_s, rows, self._white[name][first:last])
        self.times[name].append(t_s)
        self.readings[name].append(value)
        return Block(name, t_s, value)

    def _schedule(self, rate_hz: float, rng: np.random.Generator) -> np.ndarray:
        count = int(self.run.scenario.max_duration_s * rate_hz) + 2
        t_s = (np.arange(count) + rng.uniform(0.02, 0.98)) / rate_hz
        jitter = np.clip(rng.normal(0.0, _JITTER_S, count), -0.4 / rate_hz, 0.4 / rate_hz)
        return np.round(np.maximum(t_s + jitter, 0.0), 6)
