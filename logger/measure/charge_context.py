"""What has been done to the circuit so far, as far as pressures and the scale show it; marks are hints.

One second after another: whether a vacuum was drawn, whether it was lost, whether refrigerant is going in, and how
fast.
"""

from __future__ import annotations

from collections import deque
from math import ceil
from statistics import median

from logger.measure.atmosphere import Ambient, absolute_pa
from logger.measure.mass_gain import line
from logger.measure.pump_down import LEVELS_PA
from logger.measure.ticks import Tick
from logger.measure.whiteness import roughness

DEEP_SENSOR_PA = LEVELS_PA[0]
DEEP_LOW_SIDE_PA = 10_000.0
EVACUATED_S = 10
BROKEN_KPA = 10.0
"""A rise of the low side above its own vacuum reading that no transducer's noise makes."""

FLOWED_BEFORE_S = 8
QUICK_S, OUTFLOW_SD_G_PER_S = 5, 0.7
"""Masses that tell a flow where the scale is quiet; what noise may leave of doubt in it: the slope of a line through n
values of unit noise has a variance of 12 / n^3."""
INFERRED_DRAW_G = 2.0
LARGEST_DRAW_G = 150.0
CHARGE_STAGES = ("charging",)
BEFORE_CHARGE = ("", "identification", "evacuation", "vacuum_hold", "oil_and_dye")


class ChargeContext:
    """State shared by the charging monitors. All fields are as of the last second."""

    def __init__(self):
        self.deep = False
        self.evacuated = False
        self.can_tell_vacuum = False
        self.vacuum_broken_s = 0
        self.charging = False
        self.outflow_g_per_s = self.outflow_before_g_per_s = 0.0
        self.mass_noise_g2 = 0.0
        self.low_pa: float | None = None
        self.mass: deque[float] = deque(maxlen=25)
        self._deep_s = 0
        self._deep_mass: deque[float] = deque(maxlen=10)
        self._deep_gauge: deque[float] = deque(maxlen=10)

    def update(self, tick: Tick, p_pa: float | None, saturated: bool, ambient: Ambient) -> None:
        """Take one second in. p_pa: mean of the deep-vacuum sensor, None without one."""
        gauge_kpa = tick.mean.get("low_side")
        self.low_pa = None if gauge_kpa is None else absolute_pa(gauge_kpa, ambient.pa)
        self._weigh(tick)
        self._look_at_vacuum(gauge_kpa, p_pa, saturated, tick.stage)
        self._look_at_charge(tick)

    @property
    def drawn_since_vacuum_g(self) -> float:
        """What the container lost since the circuit was last under vacuum; 0 when it cannot be told."""
        if not self._deep_mass or not self.mass:
            return 0.0
        drawn = median(self._deep_mass) - median(list(self.mass)[-3:])
        return drawn if 0.0 < drawn < LARGEST_DRAW_G else 0.0

    def lose_vacuum(self) -> None:
        """The vacuum is gone for another reason than the charge."""
        self.evacuated = False
        self._deep_s = 0

    def _weigh(self, tick: Tick) -> None:
        gross_g = tick.mean.get("scale")
        if gross_g is None:
            return
        self.mass.append(gross_g)
        mass = list(self.mass)
        self.mass_noise_g2 = roughness(mass) if len(mass) >= QUICK_S else 0.0
        self.outflow_g_per_s = _outflow(mass, self.mass_noise_g2)
        earlier = mass[-FLOWED_BEFORE_S - 5 : -FLOWED_BEFORE_S]
        self.outflow_before_g_per_s = (earlier[0] - earlier[-1]) / 4.0 if len(earlier) == 5 else 0.0

    def _look_at_vacuum(self, gauge_kpa: float | None, p_pa: float | None, saturated: bool, stage: str) -> None:
        self.can_tell_vacuum = self.can_tell_vacuum or p_pa is not None or gauge_kpa is not None
        by_sensor = p_pa is not None and not saturated and p_pa < DEEP_SENSOR_PA
        by_low_side = self.low_pa is not None and self.low_pa < DEEP_LOW_SIDE_PA
        self.deep = by_sensor or by_low_side
        broken = self._broken(gauge_kpa, saturated)
        self.vacuum_broken_s = self.vacuum_broken_s + 1 if self.evacuated and broken else 0
        if broken and stage == "pressure_hold":
            self.lose_vacuum()
        if not self.deep:
            return
        self._deep_s += 1
        self.evacuated = self.evacuated or self._deep_s >= EVACUATED_S
        if gauge_kpa is not None:
            self._deep_gauge.append(gauge_kpa)
        if self.mass:
            self._deep_mass.append(self.mass[-1])

    def _broken(self, gauge_kpa: float | None, saturated: bool) -> bool:
        if gauge_kpa is not None and self._deep_gauge:
            return gauge_kpa - median(self._deep_gauge) > BROKEN_KPA
        return gauge_kpa is None and saturated

    def _look_at_charge(self, tick: Tick) -> None:
        if tick.stage in CHARGE_STAGES:
            self.charging = True
        elif tick.stage not in BEFORE_CHARGE:
            self.charging = False
        elif self.evacuated and self.vacuum_broken_s and self.drawn_since_vacuum_g > INFERRED_DRAW_G:
            self.charging = True
        elif self.deep:
            self.charging = False


def _outflow(mass: list[float], noise_g2: float) -> float:
    """g/s over the last seconds' masses, oldest first: over four seconds, or as many more as their noise calls for."""
    if len(mass) < QUICK_S:
        return 0.0
    seconds = ceil((12.0 * noise_g2 / OUTFLOW_SD_G_PER_S**2) ** (1.0 / 3.0))
    if seconds > QUICK_S:
        return -line(mass[-seconds:])[0]
    recent = mass[-QUICK_S:]
    return median(before - after for before, after in zip(recent, recent[1:], strict=False))
