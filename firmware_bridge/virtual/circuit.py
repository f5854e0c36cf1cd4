"""The vehicle's refrigerant circuit: at rest a vessel, running a low side, a high side and cold air at the vent."""

from __future__ import annotations

from firmware_bridge.virtual.refrigerant import Refrigerant
from firmware_bridge.virtual.setting import VehicleSpec

ENGAGES_ABOVE_KPA = 200.0
_LOW_TAU_S = 5.0
_HIGH_TAU_S = 14.0
_REST_TAU_S = 4.0
_EQUALISE_TAU_S = 25.0
_PIPE_TAU_S = 40.0
_WARM_UP_TAU_S = 240.0
_FLOODS_G_PER_S, _FLOODED_K, _FLOODED_TAU_S = 8.0, 12.0, 6.0
"""Liquid at this rate takes all superheat from the suction line and lifts the low side by so many kelvin."""


class Circuit:
    """Pressures in kPa absolute of the refrigerant alone; temperatures in °C.

    Directions follow the trade's fault tables: too little gas lowers both sides and raises superheat, too much raises
    the high side and subcooling. Sizes are plausible for a small car, not any one vehicle's.
    """

    def __init__(self, spec: VehicleSpec, fluid: Refrigerant, ambient_c: float):
        self.spec = spec
        self.fluid = fluid
        self.mass_g = spec.content_g
        self.litres = spec.volume_ml / 1000.0
        self.compressor_on = False
        self.blocked_k = self.flooded_by_g_per_s = 0.0
        self.low_kpa = self.high_kpa = self.static_kpa(ambient_c)
        self.vent_c = self.suction_c = self.liquid_c = ambient_c

    def static_kpa(self, ambient_c: float) -> float:
        """Pressure at rest: saturation as soon as there is liquid."""
        return self.fluid.vapour_pressure_kpa(max(self.mass_g, 0.0) / self.litres, ambient_c)

    def running(self, ambient_c: float) -> bool:
        """Whether the compressor turns: its low-pressure switch keeps it off a circuit that is nearly empty."""
        return self.compressor_on and self.static_kpa(ambient_c) > ENGAGES_ABOVE_KPA

    def step(self, dt_s: float, ambient_c: float) -> None:
        """Pressures and temperatures move towards where this charge, ambient and compressor would hold them."""
        static = self.static_kpa(ambient_c)
        if self.compressor_on and static > ENGAGES_ABOVE_KPA:
            self._run(dt_s, ambient_c, static)
        else:
            self._rest(dt_s, ambient_c, static)

    def _run(self, dt_s: float, ambient_c: float, static: float) -> None:
        share = self.mass_g / self.spec.charge_g
        missing, excess = max(0.0, 0.92 - share), max(0.0, share - 1.08)
        evaporating = self.spec.evaporator_c + 0.25 * (ambient_c - 25.0) - 20.0 * missing + 25.0 * excess
        flooded = min(self.flooded_by_g_per_s / _FLOODS_G_PER_S, 1.0)
        evaporating += _FLOODED_K * flooded
        condensing = (
            self.blocked_k + ambient_c + self.spec.condenser_rise_k * (0.4 + 0.6 * min(share, 1.0)) + 60.0 * excess
        )
        low = min(self.fluid.psat_kpa(evaporating), static)
        self.low_kpa += (low - self.low_kpa) * min(dt_s / _LOW_TAU_S, 1.0)
        self.high_kpa += (self.fluid.psat_kpa(condensing) - self.high_kpa) * min(dt_s / _HIGH_TAU_S, 1.0)
        vent = min(evaporating + self.spec.vent_above_evaporator_k + 25.0 * missing, ambient_c)
        subcooling = max(0.5, 7.0 - 12.0 * missing + 30.0 * excess)
        superheat = (6.0 + 30.0 * missing) * (1.0 - flooded)
        self._move(dt_s / _PIPE_TAU_S, vent, min(evaporating + superheat, ambient_c + 2.0), condensing - subcooling)
        if flooded:
            self.suction_c += (evaporating + superheat - self.suction_c) * min(dt_s / _FLOODED_TAU_S, 1.0)

    def _rest(self, dt_s: float, ambient_c: float, static: float) -> None:
        tau_s = _EQUALISE_TAU_S if self.high_kpa > self.low_kpa + 30.0 else _REST_TAU_S
        share = min(dt_s / tau_s, 1.0)
        self.low_kpa += (static - self.low_kpa) * share
        self.high_kpa += (static - self.high_kpa) * share
        self._move(dt_s / _WARM_UP_TAU_S, ambient_c, ambient_c, ambient_c)

    def _move(self, share: float, vent_c: float, suction_c: float, liquid_c: float) -> None:
        self.vent_c += (vent_c - self.vent_c) * share
        self.suction_c += (suction_c - self.suction_c) * share
        self.liquid_c += (liquid_c - self.liquid_c) * share
