"""The circuit under vacuum: gas that stays, water that boils, a leak, and a pump that takes it all away."""

from __future__ import annotations

import math

from firmware_bridge.virtual.refrigerant import GAS_CONSTANT, ZERO_C_K
from firmware_bridge.virtual.setting import VacuumSpec

WATER_MOLAR_G = 18.01528
_BOIL_TAU_S = 1.5
_OUTGASSING_START_S = 300.0


def water_psat_pa(temp_c: float) -> float:
    """Saturation pressure of water: Magnus form over liquid (WMO-No. 8), over ice below 0 °C."""
    if temp_c >= 0.0:
        return 611.2 * math.exp(17.62 * temp_c / (243.12 + temp_c))
    return 611.2 * math.exp(22.46 * temp_c / (272.62 + temp_c))


class Vacuum:
    """Partial pressures in a circuit of `volume_ml`, apart from the refrigerant's own."""

    def __init__(self, spec: VacuumSpec, volume_ml: float, air_pa: float, temp_c: float):
        self.spec = spec
        self.litres = volume_ml / 1000.0
        self.air_pa = air_pa
        self.water_pa = 0.0
        self.free_water_mg = spec.free_water_mg
        self.pump_on = False
        self.opened_pa_per_s = 0.0
        self._age_s = 0.0
        self._temp_c = temp_c

    @property
    def p_pa(self) -> float:
        return self.air_pa + self.water_pa

    def pump_share(self, dt_s: float) -> float:
        """The share of any vapour in the circuit that the pump leaves behind in `dt_s`."""
        return math.exp(-self._pump_per_s() * dt_s)

    def step(self, dt_s: float, temp_c: float, atmosphere_pa: float) -> None:
        """One step of both partial pressures, each relaxing to where its sources and sinks balance."""
        self.air_pa *= (temp_c + ZERO_C_K) / (self._temp_c + ZERO_C_K)
        self._temp_c = temp_c
        self._age_s += dt_s
        pump = self._pump_per_s()
        source = (self.spec.leak_pa_per_s + self.opened_pa_per_s) * max(0.0, 1.0 - self.p_pa / atmosphere_pa)
        source += self.spec.outgassing_pa / (_OUTGASSING_START_S + self._age_s)
        source += pump * self.spec.ultimate_pa
        self.air_pa = _relax(self.air_pa, source, pump, dt_s)
        self._step_water(dt_s, pump, temp_c)

    def _step_water(self, dt_s: float, pump: float, temp_c: float) -> None:
        if self.free_water_mg <= 0.0 and self.spec.bound_activity == 0.0 and self.water_pa < 1e-6:
            return
        saturated = water_psat_pa(temp_c)
        bound = 1.0 / self.spec.bound_tau_s if self.spec.bound_activity else 0.0
        boil = 1.0 / _BOIL_TAU_S if self.free_water_mg > 0.0 else 0.0
        source = boil * saturated + bound * self.spec.bound_activity * saturated
        before = self.water_pa
        self.water_pa = _relax(before, source, pump + boil + bound, dt_s)
        if boil:
            boiled_pa = boil * (saturated - 0.5 * (before + self.water_pa)) * dt_s
            self.free_water_mg = max(self.free_water_mg - boiled_pa * self._mg_per_pa(temp_c), 0.0)

    def _pump_per_s(self) -> float:
        return self.spec.pump_l_per_s / self.litres if self.pump_on else 0.0

    def _mg_per_pa(self, temp_c: float) -> float:
        """Milligrams of water vapour that raise the circuit by 1 Pa: the ideal-gas law."""
        return self.litres * WATER_MOLAR_G / (GAS_CONSTANT * (temp_c + ZERO_C_K))


def _relax(value: float, source_per_s: float, loss_per_s: float, dt_s: float) -> float:
    """Exact solution over `dt_s` of value' = source - loss * value."""
    if loss_per_s == 0.0:
        return value + source_per_s * dt_s
    end = source_per_s / loss_per_s
    return end + (value - end) * math.exp(-loss_per_s * dt_s)
