"""From a pressure that rises in a closed volume to a leak in the units of the trade.

A path that lets air into a vacuum lets refrigerant out of a charged system at another rate, and which one depends on
the kind of flow: molecular through the finest paths, viscous through wider ones. Both are given, as bounds.
Formulas: Q = V dp/dt; viscous flow goes with the difference of squared pressures over viscosity (Poiseuille),
molecular flow with the difference of pressures over the square root of molar mass (Knudsen).
"""

from __future__ import annotations

import math

from logger.measure.refrigerants import refrigerant
from logger.measure.saturation import GAS_CONSTANT, ZERO_C_K, saturation

YEAR_S = 365.25 * 86400.0
AIR_VISCOSITY_PA_S = 18.45e-6
"""Air at 25 °C (CoolProp 8.0.0)."""

AIR_MOLAR_MASS_KG_MOL = 0.0289647
NITROGEN_VISCOSITY_PA_S = 17.8e-6
"""Nitrogen at 25 °C (CoolProp 8.0.0)."""

NITROGEN_MOLAR_MASS_KG_MOL = 0.0280135
MBAR_L_PER_PA_M3 = 10.0
REST_C = 25.0
"""Temperature at which a parked vehicle's working pressure is taken."""


def throughput_pa_m3_per_s(rise_pa_per_s: float, volume_ml: float) -> float:
    """Leak as throughput: volume times rise."""
    return rise_pa_per_s * volume_ml * 1e-6


def same_throughput_g_per_year(throughput: float, number: str, temp_c: float = REST_C) -> float:
    """Mass of the refrigerant that the same throughput (Pa·m³/s) would be in a year: m = Q M / (R T)."""
    return throughput * refrigerant(number).molar_mass_kg_mol / (GAS_CONSTANT * (temp_c + ZERO_C_K)) * YEAR_S * 1e3


def flow_ratios(number: str, inside_pa: float, ambient_pa: float) -> tuple[float, float]:
    """Throughput out of the charged system per throughput of air into the vacuum: (molecular, viscous)."""
    entry = refrigerant(number)
    molecular = (inside_pa - ambient_pa) / ambient_pa * math.sqrt(AIR_MOLAR_MASS_KG_MOL / entry.molar_mass_kg_mol)
    viscous = (inside_pa**2 - ambient_pa**2) / ambient_pa**2 * AIR_VISCOSITY_PA_S / entry.gas_viscosity_pa_s
    return max(molecular, 0.0), max(viscous, 0.0)


def grams_per_year(throughput: float, number: str, ambient_pa: float, temp_c: float = REST_C) -> tuple[float, float]:
    """Leak at the saturation pressure of a parked vehicle in g/year, (lower, upper) of the two kinds of flow."""
    at_rest_pa = saturation(number).pressure_pa(temp_c)
    base = same_throughput_g_per_year(max(throughput, 0.0), number, temp_c)
    bounds = sorted(base * ratio for ratio in flow_ratios(number, at_rest_pa, ambient_pa))
    return bounds[0], bounds[1]


def nitrogen_grams_per_year(
    throughput: float, number: str, test_pa: float, ambient_pa: float, temp_c: float = REST_C
) -> tuple[float, float]:
    """The same leak in g/year of the refrigerant, parked at `temp_c`, from a throughput (Pa·m³/s) of nitrogen out of
    `test_pa` absolute: (lower, upper) of the two kinds of flow."""
    entry, at_rest_pa = refrigerant(number), saturation(number).pressure_pa(temp_c)
    base = same_throughput_g_per_year(max(throughput, 0.0), number, temp_c)
    molecular = (at_rest_pa - ambient_pa) / (test_pa - ambient_pa)
    molecular *= math.sqrt(NITROGEN_MOLAR_MASS_KG_MOL / entry.molar_mass_kg_mol)
    viscous = (at_rest_pa**2 - ambient_pa**2) / (test_pa**2 - ambient_pa**2)
    viscous *= NITROGEN_VISCOSITY_PA_S / entry.gas_viscosity_pa_s
    low, high = sorted(base * max(ratio, 0.0) for ratio in (molecular, viscous))
    return low, high


def hold_time_s(
    leak_g_per_year: float, number: str, volume_ml: float, visible_pa: float, ambient_pa: float
) -> tuple[float, float]:
    """How long a hold must last until a leak has raised the pressure by `visible_pa`: (molecular, viscous) in s."""
    per_rise = grams_per_year(throughput_pa_m3_per_s(1.0, volume_ml), number, ambient_pa)
    return tuple(visible_pa * bound / leak_g_per_year for bound in per_rise)
