"""When a circuit under nitrogen was shut and when it was let down again, from the pressure itself.

Only inside a stage that the technician named: nothing in the readings tells nitrogen from anything else.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

from logger.measure.atmosphere import Ambient, absolute_pa
from logger.measure.ticks import Tick

STAGE = "pressure_hold"
LEAST_GAUGE_KPA = 100.0
STILL_S, STILL_SHARE, STILL_KPA = 20, 0.003, 2.0
"""The bottle is shut when the pressure has risen by no more than this."""

FELL_S, FELL_SHARE, FELL_KPA = 10, 0.05, 10.0
"""No leak that is worth a measurement falls so far so soon; a valve that opens does."""

ROSE_SHARE, ROSE_KPA = 0.01, 5.0
SETTLING_S = 60.0
"""Gas that was pressed in is warm and cools on the metal (common practice, no source)."""

LONGEST = 24 * 3600


@dataclass(slots=True)
class PressureSpan:
    """One hold as it is read: seconds, absolute pressures and temperatures (NaN without), and what they came from.

    ambient: as last known from the source it began with; a barometer that falls silent would be a step.
    """

    start_t_s: float
    side: str
    probes: tuple[str, ...]
    ambient: Ambient
    t_s: list[float] = field(default_factory=list)
    p_pa: list[float] = field(default_factory=list)
    temp_c: list[float] = field(default_factory=list)
    end_reason: str = ""

    def add(self, t_s: float, p_pa: float, temp_c: float) -> None:
        if len(self.t_s) < LONGEST:
            self.t_s.append(t_s)
            self.p_pa.append(p_pa)
            self.temp_c.append(temp_c)

    def trim(self, seconds: int) -> None:
        """Forget the last readings, in which the hold was already ending."""
        if seconds:
            del self.t_s[-seconds:], self.p_pa[-seconds:], self.temp_c[-seconds:]

    @property
    def on_circuit(self) -> bool:
        return bool(self.probes) and self.probes != ("ambient_temp",)


class PressureSpans:
    """Finds holds in the stage, one tick after another."""

    def __init__(self):
        self.current: PressureSpan | None = None
        self.in_stage = False
        self.entered_t_s = 0.0
        self.highest_kpa = -math.inf
        self._recent: deque[float] = deque(maxlen=STILL_S)

    def update(self, tick: Tick, ambient: Ambient) -> PressureSpan | None:
        """Take one second in; the hold that has just ended, if one has."""
        if tick.stage != STAGE:
            self.in_stage = False
            return self._end("stage", 0)
        if not self.in_stage:
            self.in_stage, self.entered_t_s, self.highest_kpa = True, tick.t_s, -math.inf
            self._recent.clear()
        side = self.current.side if self.current else _side(tick)
        gauge_kpa = tick.mean.get(side) if side else None
        if gauge_kpa is None:
            return None
        self._recent.append(gauge_kpa)
        self.highest_kpa = max(self.highest_kpa, gauge_kpa)
        if self.current is None:
            self._look(tick, side, ambient)
            return None
        return self._read(tick, gauge_kpa, ambient)

    def _look(self, tick: Tick, side: str, ambient: Ambient) -> None:
        recent = list(self._recent)
        if len(recent) < STILL_S or min(recent) < LEAST_GAUGE_KPA:
            return
        rose, fell = _moved(recent)
        if rose <= STILL_SHARE * recent[-1] + STILL_KPA and fell <= FELL_SHARE * recent[-1] + FELL_KPA:
            self.current = PressureSpan(tick.t_s, side, _probes(tick), ambient)

    def _read(self, tick: Tick, gauge_kpa: float, ambient: Ambient) -> PressureSpan | None:
        span = self.current
        rose, fell = _moved(list(self._recent)[-FELL_S:])
        if fell > FELL_SHARE * gauge_kpa + FELL_KPA:
            return self._end("let down", FELL_S)
        if rose > ROSE_SHARE * gauge_kpa + ROSE_KPA:
            return self._end("more pressed in", FELL_S)
        if ambient.source == span.ambient.source:
            span.ambient = ambient
        if tick.t_s >= span.start_t_s + SETTLING_S:
            span.add(tick.t_s, absolute_pa(gauge_kpa, span.ambient.pa), _temperature(tick, span.probes))
        return None

    def _end(self, reason: str, trim: int) -> PressureSpan | None:
        span, self.current = self.current, None
        self._recent.clear()
        if span is not None:
            span.trim(trim)
            span.end_reason = reason
        return span


def _side(tick: Tick) -> str | None:
    return next((name for name in ("low_side", "high_side") if name in tick.mean), None)


def _probes(tick: Tick) -> tuple[str, ...]:
    """The probes on the circuit, else the workshop's, fixed for a hold: a probe that joins later would be a step."""
    on_circuit = tuple(name for name in ("suction_temp", "liquid_temp") if name in tick.last)
    return on_circuit or tuple(name for name in ("ambient_temp",) if name in tick.last)


def _temperature(tick: Tick, probes: tuple[str, ...]) -> float:
    if not probes or any(name not in tick.last for name in probes):
        return math.nan
    return sum(tick.last[name] for name in probes) / len(probes)


def _moved(gauges: list[float]) -> tuple[float, float]:
    """Rise and fall from the first half's mean to the last quarter's, neither below zero."""
    first, last = gauges[: len(gauges) // 2] or gauges, gauges[-max(len(gauges) // 4, 1) :]
    by = sum(last) / len(last) - sum(first) / len(first)
    return max(by, 0.0), max(-by, 0.0)
