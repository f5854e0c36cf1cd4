"""At rest with liquid present a circuit's pressure is the saturation pressure at its temperature, or it holds
something else.

It can say "not this refrigerant, or air in it", never which: at 25 °C R-134a, R-1234yf and R-12 lie within 35 kPa of
each other. Below saturation there may merely be no liquid, so that is judged only when the charge on record must
leave some.
"""

from __future__ import annotations

from collections import deque

from logger.measure.atmosphere import Ambient
from logger.measure.saturation import Saturation
from logger.measure.ticks import Tick

WINDOW_S = 20
STILL_KPA = 4.0
SIDES_APART_KPA = 30.0
PROBES_APART_K = 2.5
LOWEST_GAUGE_KPA = 50.0
AIR_PA = 34_000.0
TRANSDUCER_PA = 10_000.0
PROBE_K = 1.5
PROBES = ("ambient_temp", "suction_temp", "liquid_temp")


class RestCheck:
    """Watches for a circuit at rest and compares its pressure with saturation."""

    def __init__(self, curve: Saturation, volume_ml: float | None):
        self._curve, self._volume_ml = curve, volume_ml
        self._window: deque[tuple[float, float]] = deque(maxlen=WINDOW_S)

    def update(self, tick: Tick, ambient: Ambient) -> tuple[bool, bool, str]:
        """One second: (does not fit, fits, why). Neither when the circuit is not at rest or cannot be judged."""
        gauges = [tick.mean[name] for name in ("low_side", "high_side") if name in tick.mean]
        if not gauges or tick.stage in ("pressure_hold", "evacuation", "vacuum_hold"):
            self._window.clear()
            return False, False, "no pressure to judge by"
        self._window.append((min(gauges), max(gauges)))
        probes = [tick.last[name] for name in PROBES if name in tick.last]
        if not self._at_rest(tick, probes):
            return False, False, "not at rest"
        return self._compare(tick, probes, ambient)

    def _at_rest(self, tick: Tick, probes: list[float]) -> bool:
        if (
            len(self._window) < WINDOW_S
            or not probes
            or tick.compressor_on
            or max(probes) - min(probes) > PROBES_APART_K
        ):
            return False
        lows, highs = zip(*self._window, strict=True)
        half = WINDOW_S // 2
        drift = max(abs(sum(v[half:]) - sum(v[:half])) / half for v in (lows, highs))
        apart = sum(highs) / WINDOW_S - sum(lows) / WINDOW_S
        return drift < STILL_KPA and apart < SIDES_APART_KPA and sum(lows) / WINDOW_S > LOWEST_GAUGE_KPA

    def _compare(self, tick: Tick, probes: list[float], ambient: Ambient) -> tuple[bool, bool, str]:
        warm_pa, cold_pa = self._curve.pressure_pa(max(probes)), self._curve.pressure_pa(min(probes))
        if warm_pa is None or cold_pa is None:
            return False, False, self._curve.why_not(temp_c=max(probes)) or "outside the table"
        slope_pa = warm_pa - (self._curve.pressure_pa(max(probes) - 1.0) or warm_pa)
        doubt_pa = TRANSDUCER_PA + PROBE_K * slope_pa + ambient.uncertainty_pa
        at_pa = sum(low + high for low, high in self._window) / (2 * WINDOW_S) * 1e3 + ambient.pa
        number = self._curve.refrigerant.number
        if at_pa > warm_pa + AIR_PA + doubt_pa:
            excess = (at_pa - warm_pa) / 1e3
            return True, False, f"{excess:.0f} kPa above the saturation of {number} at {max(probes):.0f} °C"
        if at_pa < cold_pa - 2.0 * doubt_pa and self._holds_liquid(tick, min(probes)):
            missing = (cold_pa - at_pa) / 1e3
            return (
                True,
                False,
                f"{missing:.0f} kPa below the saturation of {number} at {min(probes):.0f} °C with liquid in it",
            )
        return False, True, "fits"

    def _holds_liquid(self, tick: Tick, temp_c: float) -> bool:
        """Whether what was charged cannot all be vapour in this circuit."""
        density = self._curve.vapour_density(temp_c)
        if self._volume_ml is None or density is None:
            return False
        return tick.scale.delivered_g > 2.0 * density * self._volume_ml * 1e-3
