"""Flow through a throttled valve, and the hose behind it."""

from __future__ import annotations

import math

from firmware_bridge.virtual.refrigerant import Refrigerant

REFERENCE_INTO_KPA = 250.0
_LINEAR_BELOW_KPA = 5.0
_VAPOUR_DRAIN_S = 0.4
_LIQUID_DRAIN_S = 1.2


def throttle_flow(p_from_kpa: float, p_to_kpa: float, density: float) -> float:
    """Flow per unit of flow area, never negative: the square root of density times pressure drop.

    The drop is choked at half the upstream pressure; near zero flow is linear in it, so that no state chatters.
    """
    drop = min(p_from_kpa - p_to_kpa, 0.5 * p_from_kpa)
    if drop <= 0.0:
        return 0.0
    if drop < _LINEAR_BELOW_KPA:
        return math.sqrt(density / _LINEAR_BELOW_KPA) * drop
    return math.sqrt(density * drop)


def flow_area(full_flow_g_per_s: float, liquid: bool, fluid: Refrigerant) -> float:
    """The area, in units of `throttle_flow`, that passes `full_flow_g_per_s` from 25 °C into 250 kPa."""
    density = fluid.liquid_density(25.0) if liquid else fluid.saturated_vapour_density(25.0)
    return full_flow_g_per_s / throttle_flow(fluid.psat_kpa(25.0), REFERENCE_INTO_KPA, density)


class Hose:
    """Between the container's valve and the service port: it empties towards vapour at the vehicle's pressure."""

    def __init__(self, volume_ml: float, fluid: Refrigerant):
        self.litres = volume_ml / 1000.0
        self.fluid = fluid
        self.mass_g = 0.0

    def kept_g(self, p_kpa: float, temp_c: float) -> float:
        """What it keeps in the end, filled with vapour at the vehicle's `p_kpa`."""
        return self.litres * self.fluid.vapour_density(p_kpa, temp_c)

    def step(self, dt_s: float, inflow_g_per_s: float, p_kpa: float, temp_c: float, liquid: bool) -> float:
        """Take the inflow for `dt_s`; grams that left at the other end (negative: that came in there)."""
        self.mass_g += inflow_g_per_s * dt_s
        tau_s = _LIQUID_DRAIN_S if liquid or self.mass_g > 6.0 else _VAPOUR_DRAIN_S
        out_g = (self.mass_g - self.kept_g(p_kpa, temp_c)) * min(dt_s / tau_s, 1.0)
        self.mass_g -= out_g
        return out_g
