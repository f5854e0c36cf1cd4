"""Pressure holds of a session: judged while they run and at their end, with the leak in the units of the trade."""

from __future__ import annotations

import math

import numpy as np

from logger.measure.atmosphere import Ambient
from logger.measure.leak_rate import MBAR_L_PER_PA_M3, nitrogen_grams_per_year, throughput_pa_m3_per_s
from logger.measure.pressure_hold import AMBIENT_K, PROBE_K, SHORTEST_S, PressureHold, pressure_hold
from logger.measure.pressure_spans import LEAST_GAUGE_KPA, SETTLING_S, PressureSpan, PressureSpans
from logger.measure.saturation import Saturation
from logger.measure.ticks import Tick

WANTED_PA_PER_S = 1.0
"""A hold counts as tight when no faster fall fits its readings: 3.6 kPa an hour. Ours."""

FIT_EVERY_S, FIT_EVERY_SHARE = 10.0, 0.05
SHORTEST_KEPT_S = 60
FEWEST_WITH_TEMPERATURE = 0.9
NEXT_STEP = (
    "Let the nitrogen down slowly before anything else is connected; then evacuate. What the test has shown holds at "
    "its pressure and temperature only."
)
LEAK_KEYS = (
    "leak_pa_m3_per_s",
    "leak_mbar_l_per_s",
    "leak_g_per_year",
    "smallest_detectable_g_per_year",
)


class PressureHolds:
    """Finds and judges holds under nitrogen from one tick to the next, within the stage of that name."""

    def __init__(self, curve: Saturation | None, system_volume_ml: float | None, wanted_pa_per_s: float):
        self._refrigerant = None if curve is None else curve.refrigerant.number
        self._volume_ml, self._wanted = system_volume_ml, wanted_pa_per_s
        self._spans = PressureSpans()
        self._found: list[dict] = []
        self._found_in_stage = 0
        self._live: PressureHold | None = None
        self._next_fit_s = -math.inf

    def update(self, tick: Tick, ambient: Ambient) -> None:
        """Take one second in."""
        was_in, entered_t_s, highest_kpa = self._spans.in_stage, self._spans.entered_t_s, self._spans.highest_kpa
        ended = self._spans.update(tick, ambient)
        if ended is not None:
            self._live, self._next_fit_s = None, -math.inf
        if ended is not None and (len(ended.t_s) >= SHORTEST_KEPT_S or ended.end_reason == "stage"):
            self._found.append(self._finding(ended, self._judge(ended)))
            self._found_in_stage += 1
        if was_in and not self._spans.in_stage:
            self._leave(entered_t_s, tick.t_s, highest_kpa)
        span = self._spans.current
        if span is not None and span.t_s and tick.t_s >= self._next_fit_s:
            self._live = self._judge(span)
            self._next_fit_s = tick.t_s + max(FIT_EVERY_S, FIT_EVERY_SHARE * (tick.t_s - span.start_t_s))

    def live(self) -> dict | None:
        """The running hold as last judged; None outside the stage."""
        if not self._spans.in_stage:
            return None
        if self._spans.current is None:
            return _shown(PressureHold("inconclusive", "shut the nitrogen and let the pressure stand still"))
        begun = PressureHold("inconclusive", "the hold has just begun", seconds_still=SETTLING_S + SHORTEST_S)
        return _shown(self._live or begun)

    def findings(self) -> list[dict]:
        """All holds so far, the running one as it stands."""
        span = self._spans.current
        return [*self._found, *([self._finding(span, self._judge(span))] if span is not None and span.t_s else [])]

    def _judge(self, span: PressureSpan) -> PressureHold:
        t_s, p_pa, temp_c = (np.array(values) for values in (span.t_s, span.p_pa, span.temp_c))
        known = np.isfinite(temp_c)
        probe_k = PROBE_K if span.on_circuit else AMBIENT_K
        if not len(known) or np.mean(known) < FEWEST_WITH_TEMPERATURE:
            return pressure_hold(t_s, p_pa, None, self._volume_ml, self._wanted)
        return pressure_hold(t_s[known], p_pa[known], temp_c[known], self._volume_ml, self._wanted, probe_k)

    def _leave(self, entered_t_s: float, t_s: float, highest_kpa: float) -> None:
        """The stage is over; where no hold was found in it, why."""
        if not self._found_in_stage:
            self._found.append(_none_found(entered_t_s, t_s, highest_kpa))
        self._found_in_stage = 0

    def _finding(self, span: PressureSpan, hold: PressureHold) -> dict:
        return {
            "start_t_s": span.start_t_s,
            "end_t_s": span.t_s[-1] if span.t_s else span.start_t_s,
            "verdict": hold.verdict,
            "fall_pa_per_s": hold.fall_pa_per_s,
            "fall_ci95_pa_per_s": None if hold.ci95 is None else list(hold.ci95),
            "smallest_detectable_pa_per_s": hold.smallest_pa_per_s,
            "why": hold.why,
            "ended_by": span.end_reason or "running",
            "side": span.side,
            "temperature_from": list(span.probes),
            "start_kpa_abs": span.p_pa[0] / 1e3 if span.p_pa else None,
            "end_kpa_abs": span.p_pa[-1] / 1e3 if span.p_pa else None,
            "next_step": NEXT_STEP,
        } | self._leak(span, hold)

    def _leak(self, span: PressureSpan, hold: PressureHold) -> dict:
        """The leak as throughput of nitrogen and in g/year of the refrigerant; without the circuit's volume why not."""
        empty = dict.fromkeys(LEAK_KEYS)
        missing = self._missing(hold)
        if missing:
            return empty | {"leak_why": f"no leak in mass: {missing}"}
        leak = hold.leak_pa_m3_per_s
        seen = hold.smallest_pa_per_s
        return {
            "leak_pa_m3_per_s": leak,
            "leak_mbar_l_per_s": leak * MBAR_L_PER_PA_M3,
            "leak_g_per_year": self._grams(span, leak),
            "smallest_detectable_g_per_year": None
            if seen is None
            else self._grams(span, throughput_pa_m3_per_s(seen, self._volume_ml)),
            "leak_why": f"of {self._refrigerant} from a parked vehicle at 25 °C, by molecular and by viscous flow",
        }

    def _grams(self, span: PressureSpan, throughput: float) -> list[float]:
        return list(nitrogen_grams_per_year(throughput, self._refrigerant, span.p_pa[0], span.ambient.pa))

    def _missing(self, hold: PressureHold) -> str | None:
        if self._volume_ml is None:
            return "the circuit's volume is not known"
        if self._refrigerant is None:
            return "the refrigerant is not known"
        return "the fall could not be judged" if hold.leak_pa_m3_per_s is None else None


def _shown(hold: PressureHold) -> dict:
    return {
        "verdict": hold.verdict,
        "fall_pa_per_s": hold.fall_pa_per_s,
        "ci95": None if hold.ci95 is None else list(hold.ci95),
        "smallest_detectable_pa_per_s": hold.smallest_pa_per_s,
        "seconds_still": hold.seconds_still,
        "words": hold.why,
    }


def _none_found(entered_t_s: float, left_t_s: float, highest_kpa: float) -> dict:
    """What stands in the findings for a stage in which no hold was found."""
    if not math.isfinite(highest_kpa):
        why = "no transducer on either side: the pressure is not known"
    elif highest_kpa < LEAST_GAUGE_KPA:
        why = f"the circuit was never above {LEAST_GAUGE_KPA:.0f} kPa: this was no test under pressure"
    else:
        why = "the pressure never stood still: the nitrogen was not shut, or it escapes as fast as it comes"
    judged = ("fall_pa_per_s", "fall_ci95_pa_per_s", "smallest_detectable_pa_per_s", "start_kpa_abs", "end_kpa_abs")
    return {
        "start_t_s": entered_t_s,
        "end_t_s": left_t_s,
        "verdict": "inconclusive",
        "why": why,
        "ended_by": "stage",
        "side": None,
        "temperature_from": [],
        "next_step": NEXT_STEP,
        "leak_why": f"no leak in mass: {why}",
        **dict.fromkeys((*judged, *LEAK_KEYS)),
    }
