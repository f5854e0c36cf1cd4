"""The evacuation: what the pump reached and what the curve says, and a warning when a charged system is pumped."""

from __future__ import annotations

import math

from logger.measure.atmosphere import Ambient, absolute_pa
from logger.measure.charged_evacuation import UNDER_VACUUM_PA, ChargedEvacuation
from logger.measure.pump_down import Curve, Lowest, RoughPumping, TimeBelow, needle_words
from logger.measure.ticks import Signal, Tick
from logger.measure.water_plateau import WaterPlateau


class Evacuation:
    """Follows pressures from the first fall under ambient until the charge goes in."""

    def __init__(self, volume_ml: float | None):
        self._volume_ml = volume_ml
        self._lowest, self._below, self._curve, self._rough = Lowest(), TimeBelow(), Curve(), RoughPumping()
        self._plateau = WaterPlateau()
        self._ambient: Ambient | None = None
        self._deep_seen = self._full_scale = False
        self._low_side_lowest = Lowest()
        self._charged = ChargedEvacuation()

    def update(self, tick: Tick, p_pa: float | None, saturated: bool, ambient: Ambient, holding: bool) -> list[Signal]:
        """Take one second in. p_pa: mean of the deep-vacuum sensor or None; holding: a vacuum hold is running."""
        self._ambient = ambient
        self._full_scale = self._full_scale or (p_pa is not None and saturated)
        gauge_kpa = tick.mean.get("low_side")
        if tick.stage not in ("charging", "performance", "closed"):
            self._low_side(tick, gauge_kpa, ambient, p_pa)
            self._deep(tick, p_pa, saturated, holding)
        return self._charged.update(tick, ambient)

    def live(self) -> dict:
        """The numbers so far."""
        return {
            "lowest_pa": self._lowest_pa(),
            "seconds_below_67_pa": self._below.seconds[67] if self._deep_seen else None,
            "water_plateau": self._plateau.seen if self._deep_seen else None,
        }

    def findings(self) -> dict:
        """The evacuation as a whole; what could not be judged is None with a why."""
        speed, how = self._rough.litres_per_s(self._volume_ml)
        lowest = self._lowest_pa()
        below = {f"seconds_below_{level}_pa": seconds for level, seconds in self._below.seconds.items()}
        return self.live() | {
            **(below if self._deep_seen else dict.fromkeys(below)),
            "why": self._why(),
            "water_plateau_words": self._plateau.words(),
            "water_plateau_pa": self._plateau.mean_pa,
            "water_plateau_seconds": self._plateau.seconds,
            "pumping_speed_l_per_s": speed,
            "pumping_speed_why": how,
            "needle": needle_words(lowest, self._ambient.pa) if lowest is not None and self._ambient else None,
            "low_side_lowest_kpa_abs": _finite(self._low_side_lowest.pa / 1e3),
            "curve": [[round(t, 1), round(p, 2)] for t, p in self._curve.points],
        }

    def _low_side(self, tick: Tick, gauge_kpa: float | None, ambient: Ambient, p_pa: float | None) -> None:
        if gauge_kpa is None:
            return
        at_pa = absolute_pa(gauge_kpa, ambient.pa)
        self._low_side_lowest.add(at_pa)
        if tick.stage != "recovery":
            self._rough.add(tick.t_s, at_pa)
        if p_pa is None and at_pa < UNDER_VACUUM_PA:
            self._curve.add(tick.t_s, at_pa)

    def _deep(self, tick: Tick, p_pa: float | None, saturated: bool, holding: bool) -> None:
        if p_pa is None:
            return
        if saturated:
            self._lowest.clear()
            self._plateau.clear()
            return
        self._deep_seen = True
        smooth = self._lowest.add(p_pa)
        self._below.add(smooth)
        self._curve.add(tick.t_s, smooth)
        if holding:
            self._plateau.clear()
        else:
            self._plateau.add(tick.t_s, p_pa, *_span_c(tick))

    def _lowest_pa(self) -> float | None:
        return _finite(self._lowest.pa)

    def _why(self) -> str | None:
        if self._lowest_pa() is not None:
            return None
        if self._full_scale:
            return "the deep-vacuum sensor stood at its full scale throughout"
        lowest = _finite(self._low_side_lowest.pa)
        if lowest is not None and lowest < UNDER_VACUUM_PA:
            return "no deep-vacuum sensor: the low-side transducer shows a vacuum but cannot tell its depth"
        return "no evacuation was seen"


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _span_c(tick: Tick) -> tuple[float, float]:
    """Coldest and warmest probe on or around the circuit, NaN without any."""
    found = [
        tick.last[name] for name in ("ambient_temp", "suction_temp", "liquid_temp", "vent_temp") if name in tick.last
    ]
    return (min(found), max(found)) if found else (math.nan, math.nan)
