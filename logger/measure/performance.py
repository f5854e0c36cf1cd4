"""How the running system performs: settled values, pull-down, superheat and subcooling where the probes exist."""

from __future__ import annotations

import math
from collections import deque

from logger.measure.atmosphere import Ambient, absolute_pa
from logger.measure.fault_patterns import Observed, patterns
from logger.measure.saturation import Saturation
from logger.measure.ticks import Tick, compressor_runs

CHANNELS = (
    "vent_temp",
    "ambient_temp",
    "low_side",
    "high_side",
    "suction_temp",
    "liquid_temp",
    "humidity",
)
BLOCK_S = 10
BLOCKS = 9
SHORTEST_RUN_S = 120.0
LONG_RUN_S = 300.0
"""A run this long that never settles is looked at all the same: some faults show as swings."""

STILL = {"vent_temp": 0.5, "low_side": 12.0, "high_side": 40.0}
"""Largest drift over half the window (45 s) in a channel's unit for a settled state."""

NO_PATTERNS = {"patterns": [], "patterns_why": "the system did not run long enough"}
DEFERS = (
    "Guide only: the charge is judged by weight, the rest by the vehicle maker's data at stated conditions (about "
    "1500 rpm, coldest setting, high blower, recirculation, doors and windows as the maker says, ten minutes)."
)


class Performance:
    """Watches the compressor run; keeps the last settled window of the performance stage, else of any run."""

    def __init__(self, curve: Saturation | None):
        self._curve = curve
        self._blocks: deque[dict[str, float]] = deque(maxlen=BLOCKS)
        self._sums: dict[str, list[float]] = {}
        self._ticks = 0
        self._run_s = 0.0
        self._ambient: Ambient | None = None
        self._settled: dict | None = None
        self._last: dict | None = None
        self._settled_stage = ""
        self._pull: list[tuple[float, float]] = []
        self._seen = False

    def update(self, tick: Tick, ambient: Ambient) -> None:
        """Take one second in."""
        self._ambient = ambient
        if not compressor_runs(tick):
            self._blocks.clear()
            self._sums, self._ticks, self._run_s = {}, 0, 0.0
            return
        self._seen = True
        self._run_s += 1.0
        self._gather(tick)
        if self._ticks < BLOCK_S:
            return
        self._close_block(tick)
        if self._run_s >= LONG_RUN_S and len(self._blocks) == BLOCKS:
            self._last = self._values(list(self._blocks))
        if self._run_s >= SHORTEST_RUN_S and self._still():
            self._keep(tick.stage)

    def live(self) -> dict | None:
        """Means of the last minute and a half while running, settled or not."""
        if not self._blocks:
            return None
        return self._values(list(self._blocks)) | {"settled": self._still() and self._run_s >= SHORTEST_RUN_S}

    def findings(self) -> dict | None:
        """The settled state with its patterns, or what there is with a why; None when the system never ran."""
        if not self._seen:
            return None
        values, why = self._settled, None
        if values is None:
            values, why = self._last or dict.fromkeys(_KEYS), "the running system was never seen settled"
        judged = self._patterns(values) if values is self._settled or values is self._last else NO_PATTERNS
        whole = values | {"settled": why is None, "why": "; ".join(filter(None, (why, values.get("why")))) or None}
        return whole | self._pull_down() | judged | {"defers_to": DEFERS}

    def _gather(self, tick: Tick) -> None:
        self._ticks += 1
        for name in CHANNELS:
            value = tick.mean.get(name, tick.last.get(name))
            if value is not None:
                self._sums.setdefault(name, []).append(value)

    def _close_block(self, tick: Tick) -> None:
        block = {name: sum(values) / len(values) for name, values in self._sums.items()}
        self._blocks.append(block)
        if "vent_temp" in block and len(self._pull) < 360:
            self._pull.append((self._run_s, block["vent_temp"]))
        self._sums, self._ticks = {}, 0

    def _still(self) -> bool:
        if len(self._blocks) < BLOCKS:
            return False
        half = BLOCKS // 2
        blocks = list(self._blocks)
        return all(
            abs(_mean(blocks[-half:], name) - _mean(blocks[:half], name)) < limit
            for name, limit in STILL.items()
            if all(name in block for block in blocks)
        )

    def _keep(self, stage: str) -> None:
        """The performance stage goes before any other; within one stage the last settled window stands."""
        if self._settled_stage == "performance" and stage != "performance":
            return
        self._settled, self._settled_stage = self._values(list(self._blocks)), stage

    def _values(self, blocks: list[dict[str, float]]) -> dict:
        found = {name: _mean(blocks, name) if all(name in b for b in blocks) else None for name in CHANNELS}
        values = {
            "vent_temp_c": found["vent_temp"],
            "ambient_temp_c": found["ambient_temp"],
            "low_side_kpa": found["low_side"],
            "high_side_kpa": found["high_side"],
            "humidity_pct": found["humidity"],
            "high_side_swing_kpa": _swing(blocks, "high_side"),
            "low_side_swing_kpa": _swing(blocks, "low_side"),
        }
        return values | self._saturated(found)

    def _saturated(self, found: dict[str, float | None]) -> dict:
        evaporating = self._saturation_c(found["low_side"])
        condensing = self._saturation_c(found["high_side"])
        superheat = (
            None if evaporating is None or found["suction_temp"] is None else found["suction_temp"] - evaporating
        )
        subcooling = None if condensing is None or found["liquid_temp"] is None else condensing - found["liquid_temp"]
        missing = [
            words
            for value, words in (
                (superheat, "superheat needs a suction-line probe and the low side"),
                (subcooling, "subcooling needs a liquid-line probe and the high side"),
                (found["vent_temp"], "no vent probe"),
                (found["ambient_temp"], "no ambient probe"),
            )
            if value is None
        ]
        return {
            "evaporating_c": evaporating,
            "condensing_c": condensing,
            "superheat_k": superheat,
            "subcooling_k": subcooling,
            "why": "; ".join(missing) or None,
        }

    def _saturation_c(self, gauge_kpa: float | None) -> float | None:
        if self._curve is None or gauge_kpa is None or self._ambient is None:
            return None
        return self._curve.temperature_c(absolute_pa(gauge_kpa, self._ambient.pa))

    def _patterns(self, values: dict) -> dict:
        observed = Observed(
            evaporating_c=values["evaporating_c"],
            condensing_c=values["condensing_c"],
            ambient_c=values["ambient_temp_c"],
            vent_c=values["vent_temp_c"],
            superheat_k=values["superheat_k"],
            subcooling_k=values["subcooling_k"],
            high_swing_kpa=values["high_side_swing_kpa"],
            low_swing_kpa=values["low_side_swing_kpa"],
            low_gauge_kpa=values["low_side_kpa"],
        )
        found, why = patterns(observed)
        return {"patterns": found, "patterns_why": why}

    def _pull_down(self) -> dict:
        """Time constant of the vent temperature: when it had made 63 % of its fall."""
        if len(self._pull) < 12:
            return {"vent_time_constant_s": None, "vent_pull_down_k": None}
        start, end = self._pull[0][1], min(value for _, value in self._pull)
        if start - end < 3.0:
            return {"vent_time_constant_s": None, "vent_pull_down_k": start - end}
        mark = start - (1.0 - math.exp(-1.0)) * (start - end)
        reached = next(seconds for seconds, value in self._pull if value <= mark)
        return {"vent_time_constant_s": reached, "vent_pull_down_k": start - end}


_KEYS = (
    "vent_temp_c",
    "ambient_temp_c",
    "low_side_kpa",
    "high_side_kpa",
    "superheat_k",
    "subcooling_k",
    "humidity_pct",
)


def _mean(blocks: list[dict[str, float]], name: str) -> float:
    return sum(block[name] for block in blocks) / len(blocks)


def _swing(blocks: list[dict[str, float]], name: str) -> float | None:
    found = [block[name] for block in blocks if name in block]
    return max(found) - min(found) if found else None
