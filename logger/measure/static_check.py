"""What a circuit at rest tells before anything is done to it: whether there is refrigerant in it, and any liquid.

At saturation there is liquid, but how much cannot be told by pressure; below it there is vapour only, whose mass
follows from the volume; above it there is air, or another refrigerant. A guide: the recovery weighs what was in there.
"""

from __future__ import annotations

from collections import deque

from logger.measure.atmosphere import Ambient, absolute_pa
from logger.measure.rest_check import (
    AIR_PA,
    PROBE_K,
    PROBES,
    PROBES_APART_K,
    SIDES_APART_KPA,
    STILL_KPA,
    TRANSDUCER_PA,
)
from logger.measure.saturation import Saturation
from logger.measure.ticks import Tick

WINDOW_S = 6
EMPTY_KPA = 20.0
"""Within this of ambient there may be anything or nothing in it (a transducer's error, weather)."""

BEFORE_WORK = ("", "identification")


class StaticCheck:
    """Judged once, at the first rest, before the circuit is worked on."""

    def __init__(self, curve: Saturation | None, volume_ml: float | None):
        self._curve, self._volume_ml = curve, volume_ml
        self._window: deque[tuple[float, float]] = deque(maxlen=WINDOW_S)
        self._found: dict | None = None
        self._over = False

    def update(self, tick: Tick, ambient: Ambient) -> None:
        """Take one second in, ticks in order."""
        if self._over or self._found is not None:
            return
        if tick.stage not in BEFORE_WORK or tick.compressor_on:
            self._over = True
            return
        gauges = [tick.mean[name] for name in ("low_side", "high_side") if name in tick.mean]
        if not gauges:
            return
        self._window.append((min(gauges), max(gauges)))
        probes = [tick.last[name] for name in PROBES if name in tick.last]
        if self._at_rest():
            self._found = self._judge(tick.t_s, probes, ambient)

    def findings(self) -> dict | None:
        """t_s, pressure_kpa (gauge), saturation_kpa (gauge, None without a temperature), state ("empty", "liquid",
        "vapour", "above saturation", None: not judged) and words; None where the circuit was not seen at rest."""
        return self._found

    def _at_rest(self) -> bool:
        if len(self._window) < WINDOW_S:
            return False
        lows, highs = zip(*self._window, strict=True)
        still = max(max(lows) - min(lows), max(highs) - min(highs)) < STILL_KPA
        return still and sum(highs) - sum(lows) < SIDES_APART_KPA * WINDOW_S

    def _judge(self, t_s: float, probes: list[float], ambient: Ambient) -> dict:
        gauge_kpa = sum(low + high for low, high in self._window) / (2 * WINDOW_S)
        found = {"t_s": t_s, "pressure_kpa": gauge_kpa, "saturation_kpa": None, "state": None}
        if gauge_kpa < -EMPTY_KPA:
            return found | {"words": "under vacuum already: nothing in it to judge"}
        if gauge_kpa < EMPTY_KPA:
            return found | {"state": "empty", "words": "without pressure: it has lost its charge, or is open"}
        if self._curve is None or not probes:
            missing = "its refrigerant is not known" if self._curve is None else "no temperature to compare with"
            return found | {"words": f"under pressure, but {missing}"}
        if max(probes) - min(probes) > PROBES_APART_K:
            return found | {"words": "under pressure, but it is not at one temperature: what is in it cannot be told"}
        return found | self._against_saturation(gauge_kpa, sum(probes) / len(probes), ambient)

    def _against_saturation(self, gauge_kpa: float, temp_c: float, ambient: Ambient) -> dict:
        p_pa = absolute_pa(gauge_kpa, ambient.pa)
        curve = self._curve
        expected = curve.pressure_pa(temp_c)
        if expected is None:
            return {"words": curve.why_not(temp_c=temp_c)}
        colder = curve.pressure_pa(temp_c - PROBE_K) or expected
        margin = ((expected - colder) ** 2 + TRANSDUCER_PA**2 + ambient.uncertainty_pa**2) ** 0.5
        shown = {"saturation_kpa": (expected - ambient.pa) / 1e3}
        if p_pa > expected + margin + AIR_PA:
            words = "at rest above saturation: air in it, or another refrigerant"
            return shown | {"state": "above saturation", "words": words}
        if p_pa >= expected - margin:
            words = "at rest at saturation: liquid is in it; only weighing tells how much"
            return shown | {"state": "liquid", "words": words}
        words = f"at rest below saturation: vapour only{self._amount(p_pa, temp_c)}"
        return shown | {"state": "vapour", "words": words}

    def _amount(self, p_pa: float, temp_c: float) -> str:
        density = self._curve.vapour_density(temp_c, p_pa)
        if self._volume_ml is None or density is None:
            return ", far less than a charge"
        return f", about {density * self._volume_ml * 1e-3:.0f} g"
