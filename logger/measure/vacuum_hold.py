"""Vacuum holds of a session: judged while they run and at their end, with the leak in the units of the trade."""

from __future__ import annotations

import math

import numpy as np

from logger.measure.atmosphere import Ambient, micron
from logger.measure.hold_spans import HoldSpans, Span
from logger.measure.hold_verdict import SHORTEST_S, WANTED_PA_PER_S, HoldReadings, HoldVerdict, judge_hold
from logger.measure.leak_rate import (
    MBAR_L_PER_PA_M3,
    grams_per_year,
    same_throughput_g_per_year,
    throughput_pa_m3_per_s,
)
from logger.measure.saturation import Saturation
from logger.measure.steady_vacuum import SteadyVacuum
from logger.measure.ticks import Tick

FIT_EVERY_S = 10.0
FIT_EVERY_SHARE = 0.05
SHORTEST_KEPT_S = 60.0
FLAT_TICKS = 5
JUST_BEGUN = HoldVerdict("inconclusive", "the hold has just begun", seconds_still=SHORTEST_S)
LEAK_KEYS = (
    "leak_pa_m3_per_s",
    "leak_mbar_l_per_s",
    "leak_g_per_year",
    "leak_g_per_year_same_throughput",
    "smallest_detectable_g_per_year",
)
FULL_SCALE_SHARE = 0.995
BETTER_TEST = (
    "A vacuum hold is a weak leak test: its figure in grams leaves a factor of twenty open. A pressure hold with dry "
    "nitrogen, corrected for temperature (p/T), leaves a factor of two, is not deceived by water or oil, and bubbles "
    "find the place; give it an hour. Stay within the maker's test pressure and use a regulator and a relief valve."
)


class FullScale:
    """Learns the deep-vacuum sensor's full scale: the highest value, shown without any noise."""

    def __init__(self):
        self.pa = math.inf
        self._highest, self._same = 0.0, 0

    def saturated(self, mean_pa: float, last_pa: float) -> bool:
        """Whether this second's readings stand at full scale."""
        if mean_pa == last_pa and last_pa >= self._highest:
            self._same = self._same + 1 if last_pa == self._highest else 1
            if self._same >= FLAT_TICKS and last_pa > 100.0:
                self.pa = last_pa
        self._highest = max(self._highest, last_pa)
        return last_pa >= FULL_SCALE_SHARE * self.pa


class VacuumHold:
    """Finds and judges holds from one tick to the next."""

    def __init__(
        self, curve: Saturation | None, system_volume_ml: float | None, wanted_pa_per_s: float = WANTED_PA_PER_S
    ):
        self._refrigerant = None if curve is None else curve.refrigerant.number
        self._volume_ml, self._wanted = system_volume_ml, wanted_pa_per_s
        self._spans = HoldSpans()
        self._steady = SteadyVacuum()
        self._done: list[tuple[Span, HoldVerdict, float]] = []
        self._live: HoldVerdict | None = None
        self._next_fit_s = -math.inf
        self._ambient_pa = 101325.0

    def update(self, tick: Tick, p_pa: float | None, saturated: bool, ambient: Ambient) -> None:
        """Take one second in. p_pa: this second's mean of the deep-vacuum sensor, None without one."""
        self._ambient_pa = ambient.pa
        self._steady.add(p_pa, saturated or self.holding)
        ended = self._spans.update(tick.t_s, p_pa, saturated, circuit_temp_c(tick), tick.stage)
        if ended is not None:
            self._keep(ended)
            self._live = None
        current = self._spans.current
        if current is None:
            return
        self._watch_system(current, tick, ambient)
        if tick.t_s >= self._next_fit_s and current.refined and current.t_s:
            self._live = judge_hold(readings_of(current), self._wanted)
            self._next_fit_s = tick.t_s + max(FIT_EVERY_S, FIT_EVERY_SHARE * current.duration_s)

    @property
    def holding(self) -> bool:
        """Whether a hold is running."""
        return self._spans.current is not None

    def why_none(self) -> str | None:
        """Why there is no hold in the findings though there may have been one; None otherwise."""
        return None if self._done or self.holding else self._steady.why()

    def live(self) -> dict | None:
        """The running hold as last judged; None when none runs."""
        if self._spans.current is None:
            return None
        verdict = self._live or JUST_BEGUN
        return {
            "verdict": verdict.verdict,
            "rise_pa_per_s": verdict.rise_pa_per_s,
            "ci95": None if verdict.ci95 is None else list(verdict.ci95),
            "smallest_detectable_pa_per_s": verdict.smallest_pa_per_s,
            "seconds_still": verdict.seconds_still,
            "words": verdict.why,
        }

    def findings(self) -> list[dict]:
        """All holds so far, the running one as it stands."""
        holds = list(self._done)
        running = self._spans.current
        if running is not None and running.duration_s >= SHORTEST_KEPT_S and running.refined:
            holds.append((running, judge_hold(readings_of(running), self._wanted), self._ambient_pa))
        return [self._finding(*hold) for hold in holds]

    def _keep(self, span: Span) -> None:
        self._next_fit_s = -math.inf
        if span.duration_s >= SHORTEST_KEPT_S or (span.marked and span.saturated_ticks >= SHORTEST_KEPT_S):
            self._done.append((span, judge_hold(readings_of(span), self._wanted), self._ambient_pa))

    def _watch_system(self, span: Span, tick: Tick, ambient: Ambient) -> None:
        gauge_kpa = tick.mean.get("low_side")
        if gauge_kpa is not None and ambient.source != "assumed sea level":
            span.system_sum_pa += gauge_kpa * 1e3 + ambient.pa
            span.system_count += 1

    def _finding(self, span: Span, verdict: HoldVerdict, ambient_pa: float) -> dict:
        end = span.end_t_s if span.end_t_s is not None else span.t_s[-1]
        finding = {
            "start_t_s": round(span.start_t_s, 3),
            "end_t_s": round(end, 3),
            "verdict": verdict.verdict,
            "rise_pa_per_s": verdict.rise_pa_per_s,
            "rise_ci95_pa_per_s": None if verdict.ci95 is None else list(verdict.ci95),
            "smallest_detectable_pa_per_s": verdict.smallest_pa_per_s,
            "why": verdict.why,
            "marked": span.marked,
            "ended_by": span.end_reason or "running",
            "start_pa": span.p_pa[0] if span.p_pa else None,
            "end_pa": span.p_pa[-1] if span.p_pa else None,
            "better_test": BETTER_TEST,
        }
        return finding | self._leak(verdict, ambient_pa) | _models(verdict)

    def _leak(self, verdict: HoldVerdict, ambient_pa: float) -> dict:
        """The leak as throughput and in g/year between its bounds; without the circuit's volume, why not."""
        empty = dict.fromkeys(LEAK_KEYS)
        missing = self._missing(verdict)
        if missing:
            return empty | {"leak_why": f"no leak in mass: {missing}"}
        leak = throughput_pa_m3_per_s(max(verdict.rise_pa_per_s, 0.0), self._volume_ml)
        least = throughput_pa_m3_per_s(verdict.smallest_pa_per_s, self._volume_ml)
        seen = grams_per_year(least, self._refrigerant, ambient_pa)
        return {
            "leak_pa_m3_per_s": leak,
            "leak_mbar_l_per_s": leak * MBAR_L_PER_PA_M3,
            "leak_g_per_year": list(grams_per_year(leak, self._refrigerant, ambient_pa)),
            "leak_g_per_year_same_throughput": same_throughput_g_per_year(leak, self._refrigerant),
            "smallest_detectable_g_per_year": list(seen),
            "leak_why": self._leak_words(verdict.smallest_pa_per_s, seen),
        }

    def _missing(self, verdict: HoldVerdict) -> str | None:
        if self._volume_ml is None:
            return "the circuit's volume is not known"
        if self._refrigerant is None:
            return "the refrigerant is not known"
        return "the rise could not be judged" if verdict.rise_pa_per_s is None else None

    def _leak_words(self, rise_pa_per_s: float, seen: tuple[float, float]) -> str:
        return (
            f"The smallest leak this hold could have seen ({micron(rise_pa_per_s * 600):.1f} micron in 10 min) would "
            f"lose "
            f"{seen[0]:.2g} g/year (molecular flow) to {seen[1]:.2g} g/year (viscous flow) of {self._refrigerant} "
            f"from a "
            "parked vehicle at 25 °C. Smaller ones stay unseen."
        )


def _models(verdict: HoldVerdict) -> dict:
    """What stands behind the verdict: the models' criteria and the levelling part."""
    fit = verdict.fit
    if fit is None:
        return {"models": None, "levelling_pa": None, "settle_s": None}
    return {
        "models": {name: round(value, 2) for name, value in fit.aicc.items()},
        "levelling_pa": fit.amplitude_pa,
        "settle_s": fit.settle_s,
    }


def circuit_temp_c(tick: Tick) -> float:
    """Temperature of the circuit: the mean of the probes that sit on it, else ambient, else NaN."""
    on_circuit = [tick.last[name] for name in ("suction_temp", "liquid_temp") if name in tick.last]
    if on_circuit:
        return sum(on_circuit) / len(on_circuit)
    return tick.last.get("ambient_temp", math.nan)


def readings_of(span: Span) -> HoldReadings:
    """A span's readings as arrays."""
    system = (span.system_sum_pa / span.system_count, 0.0) if span.system_count else None
    saturated = span.saturated_ticks > 0 and len(span.t_s) < SHORTEST_KEPT_S and span.end_reason != "full scale"
    return HoldReadings(np.array(span.t_s), np.array(span.p_pa), np.array(span.temp_c), span.marked, system, saturated)
