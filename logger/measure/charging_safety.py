"""What can hurt someone or a compressor while charging, each with a hold-off, hysteresis and what to do first.

Lines are ours unless a source is named; the vehicle maker's data and local codes go before them.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from math import sqrt

from logger.measure.atmosphere import Ambient
from logger.measure.charge_context import ChargeContext
from logger.measure.condition import Condition
from logger.measure.mass_gain import ended, gains
from logger.measure.rest_check import RestCheck
from logger.measure.saturation import Saturation
from logger.measure.ticks import RUNNING_KPA, Signal, Tick

CONTAINER_HOT_C = 52.0
"""125 °F, the usual limit for storing and warming (vehicle makers' service literature; common practice of the gas
trade)."""

POWER_ON_C = 85.0
"""What a DS18B20 shows when no conversion was made (data sheet 19-7487)."""

SHORTEST_LOSS_S = 15
LIQUID_G_PER_S = 8.0
"""Vapour flows at 1 to 5 g/s through a service hose, liquid at 10 to 30 (from memory, low
trust; no source)."""

SURGE_G_PER_S, SURGE_KPA = 4.0, 80.0
TURNED_KPA = 40.0
"""A container turned over: vapour has become liquid at a multiple of its rate, so less of a rise will do."""

FLOODED_K, FLOODED_G_PER_S = 1.5, 1.0
WETTISH_K = 4.0
UNEVACUATED_G = 5.0
CONTAINER_MARGIN_PA = 80_000.0

HIGH_RUNNING = (
    "Switch the compressor off and close the container valve: the high side is over {limit:.0f} kPa. Look for a fan "
    "that stands, a closed valve or too much charge."
)
HIGH_UNDER_NITROGEN = (
    "Shut the nitrogen and let the pressure down slowly: it is over {limit:.0f} kPa, more than the circuit may be "
    "tested with."
)


class ChargingSafety:
    """All charging monitors: one second in, signals out. `curve` is None when the refrigerant is not known."""

    def __init__(self, curve: Saturation | None, system_volume_ml: float | None, limits: Mapping[str, float]):
        self._curve = curve
        default_kpa = 2413.0 if curve is None else curve.refrigerant.high_side_limit_kpa
        self._high_limit_kpa = float(limits.get("high_side_kpa", default_kpa))
        self._rest = None if curve is None else RestCheck(curve, system_volume_ml)
        self._low_side: deque[float] = deque(maxlen=40)
        self._stage_mass: float | None = None
        self._stage = ""
        self._hot, self._backflow, self._liquid = _hot(), _backflow(), _liquid()
        self._high_side = _high_side(self._high_limit_kpa)
        self._lost, self._no_vacuum, self._other = _lost(), _no_vacuum(), _other()

    def update(self, tick: Tick, context: ChargeContext, ambient: Ambient) -> list[Signal]:
        """Signals of one second."""
        signals = self._container(tick) + self._high(tick) + self._gain(context)
        signals += self._surge(tick, context) + self._vacuum(tick, context)
        signals += self._unevacuated(tick, context) + self._wrong(tick, context, ambient)
        self._stage = tick.stage
        return signals

    def _container(self, tick: Tick) -> list[Signal]:
        temp_c = tick.last.get("container_temp")
        if temp_c is None:
            return self._hot.update(False, False)
        plausible = temp_c != POWER_ON_C
        return self._hot.update(plausible and temp_c > CONTAINER_HOT_C, temp_c < CONTAINER_HOT_C - 2.0)

    def _high(self, tick: Tick) -> list[Signal]:
        """Either side counts: hoses or wires may be swapped, and no low side may come near that line. A second without
        a reading says nothing, so that a slow sensor still tells."""
        gauge_kpa = max((tick.mean[side] for side in ("high_side", "low_side") if side in tick.mean), default=0.0)
        if "high_side" not in tick.mean and gauge_kpa <= self._high_limit_kpa:
            return []
        words = HIGH_UNDER_NITROGEN if tick.stage == "pressure_hold" else HIGH_RUNNING
        over, under = gauge_kpa > self._high_limit_kpa, gauge_kpa < 0.94 * self._high_limit_kpa
        return self._high_side.update(over, under, words.format(limit=self._high_limit_kpa) if over else None)

    def _gain(self, context: ChargeContext) -> list[Signal]:
        mass = list(context.mass)
        gained = context.charging and gains(mass, sqrt(context.mass_noise_g2))
        return self._backflow.update(gained, ended(mass) or not context.charging)

    def _surge(self, tick: Tick, context: ChargeContext) -> list[Signal]:
        gauge_kpa = tick.mean.get("low_side")
        flow, running = context.outflow_g_per_s, self._running(tick)
        liquid = context.charging and running and self._liquid_comes(tick, context, flow)
        if not running:
            self._low_side.clear()
        elif gauge_kpa is not None:
            self._low_side.append(gauge_kpa)
        calm = flow < 0.5 * SURGE_G_PER_S or not context.charging
        return self._liquid.update(liquid, calm and not liquid)

    def _running(self, tick: Tick) -> bool:
        """The sides lie apart, and nobody said that it is off; without both sides the mark alone counts."""
        low, high = tick.mean.get("low_side"), tick.mean.get("high_side")
        if low is None or high is None:
            return bool(tick.compressor_on)
        apart_kpa = RUNNING_KPA if tick.compressor_on is None else 0.5 * RUNNING_KPA
        return tick.compressor_on is not False and high - low > apart_kpa

    def _liquid_comes(self, tick: Tick, context: ChargeContext, flow: float) -> bool:
        """Rate of mass against low-side pressure and superheat; by the rate alone only where neither can be read."""
        superheat_k = self._superheat_k(tick, context)
        rise_kpa = self._low_side_rise(tick)
        if superheat_k is not None and superheat_k < FLOODED_K and flow > FLOODED_G_PER_S:
            return True
        turned = flow > max(LIQUID_G_PER_S, 2.0 * context.outflow_before_g_per_s)
        if rise_kpa is not None and flow > SURGE_G_PER_S and rise_kpa > (TURNED_KPA if turned else SURGE_KPA):
            return True
        blind = superheat_k is None and "low_side" not in tick.mean
        wet = superheat_k is not None and superheat_k < WETTISH_K
        return flow > LIQUID_G_PER_S and (blind or wet)

    def _low_side_rise(self, tick: Tick) -> float | None:
        """How far the low side stands above its median of the half minute before, all of it with the compressor on."""
        gauge_kpa, before = tick.mean.get("low_side"), sorted(list(self._low_side)[:-5])
        if gauge_kpa is None or len(before) < 30:
            return None
        return gauge_kpa - before[len(before) // 2]

    def _superheat_k(self, tick: Tick, context: ChargeContext) -> float | None:
        suction_c = tick.last.get("suction_temp")
        if self._curve is None or suction_c is None or context.low_pa is None:
            return None
        return self._curve.superheat_k(suction_c, context.low_pa)

    def _vacuum(self, tick: Tick, context: ChargeContext) -> list[Signal]:
        elsewhere = tick.stage in ("charging", "performance", "closed", "recovery", "pressure_hold")
        lost = context.vacuum_broken_s >= SHORTEST_LOSS_S and not context.charging and not elsewhere
        signals = self._lost.update(lost, context.deep or elsewhere)
        if signals and signals[0].active:
            context.lose_vacuum()
        return signals

    def _unevacuated(self, tick: Tick, context: ChargeContext) -> list[Signal]:
        mass = context.mass[-1] if context.mass else None
        if tick.stage == "charging" and self._stage != "charging":
            self._stage_mass = mass
        if mass is not None and self._stage_mass is not None and mass > self._stage_mass + UNEVACUATED_G:
            self._stage_mass = mass
        drawn = self._stage_mass - mass if mass is not None and self._stage_mass is not None else 0.0
        flows = tick.stage == "charging" and drawn > UNEVACUATED_G and context.outflow_g_per_s > 0.2
        flows = flows or tick.scale.delivered_g > 3.0 * UNEVACUATED_G
        without = context.can_tell_vacuum and not context.evacuated
        return self._no_vacuum.update(flows and without, context.evacuated)

    def _wrong(self, tick: Tick, context: ChargeContext, ambient: Ambient) -> list[Signal]:
        if self._rest is None:
            return []
        wrong, fits, why = self._rest.update(tick, ambient)
        if self._above_container(tick, context):
            wrong, why = True, "refrigerant flows out of the container into a pressure above its saturation"
        message = (
            f"Do not charge, nor recover into a clean container: {why}. Not this refrigerant, or air in it; which, the "
            "pressure cannot tell. Have it identified."
        )
        return self._other.update(wrong, fits, message if wrong else None)

    def _above_container(self, tick: Tick, context: ChargeContext) -> bool:
        temp_c = tick.last.get("container_temp")
        if temp_c is None or context.low_pa is None or not context.charging or context.outflow_g_per_s < 0.3:
            return False
        saturated_pa = self._curve.pressure_pa(temp_c)
        return saturated_pa is not None and context.low_pa > saturated_pa + CONTAINER_MARGIN_PA


def _hot() -> Condition:
    message = (
        f"Take the heat away from the container now and stand clear: it is over {CONTAINER_HOT_C:.0f} °C. Cool it with "
        "water; do not vent it."
    )
    return Condition("container-hot", "danger", message, on_after_s=2, off_after_s=10)


def _high_side(limit_kpa: float) -> Condition:
    return Condition("high-side-high", "danger", HIGH_RUNNING.format(limit=limit_kpa), on_after_s=2, off_after_s=10)


def _backflow() -> Condition:
    message = (
        "Close the container valve now: refrigerant flows back into the container. Check that the high-side valve is "
        "shut and never charge into a running high side."
    )
    return Condition("backflow", "danger", message, on_after_s=1, off_after_s=4)


def _liquid() -> Condition:
    message = (
        "Close the container valve and switch the compressor off: liquid is reaching the suction side. Stand the "
        "container upright, vapour only, and open the valve slowly."
    )
    return Condition("low-side-surge", "danger", message, on_after_s=2, off_after_s=8)


def _lost() -> Condition:
    message = "Shut the valves: the vacuum is gone. Find what opened, mend it and evacuate again before charging."
    return Condition("vacuum-lost", "caution", message, on_after_s=1, off_after_s=10)


def _no_vacuum() -> Condition:
    message = (
        "Close the container valve: no vacuum was seen before this charge, so air and water may be inside. Recover, "
        "evacuate and hold first."
    )
    return Condition("charge-without-vacuum", "caution", message, on_after_s=3, off_after_s=10)


def _other() -> Condition:
    message = "Do not charge, nor recover into a clean container: the pressure does not fit. Have it identified."
    return Condition("wrong-refrigerant", "caution", message, on_after_s=5, off_after_s=10)
