"""A refrigerant container: liquid and vapour in a steel shell, chilled by what boils off."""

from __future__ import annotations

from firmware_bridge.virtual.refrigerant import Refrigerant
from firmware_bridge.virtual.setting import ContainerSpec

STEEL_J_PER_GK = 0.47
COLDEST_C = -45.0
_FLAME_W_PER_K = 60.0


class Container:
    """State of one container; `mass_g` is its content.

    Two thermal nodes, fluid and shell, the shell losing heat to the air or to a warm wrap. A probe on the shell lags.
    """

    def __init__(self, spec: ContainerSpec, fluid: Refrigerant, ambient_c: float):
        self.spec = spec
        self.fluid = fluid
        self.mass_g = spec.content_g
        self.turned_over = False
        self.heated_to_c: float | None = None
        self.litres = spec.volume_ml / 1000.0
        self.temp_c = ambient_c if spec.warm_c is None else 0.5 * (ambient_c + spec.warm_c)
        self.shell_c = self.temp_c
        self.p_kpa = self._pressure()
        self._shell_j_per_k = spec.tare_g * STEEL_J_PER_GK
        self._inner_w_per_k = 12.0 + 0.03 * spec.tare_g
        self._outer_w_per_k = 0.6 + 8e-4 * spec.tare_g if spec.warm_c is None else 50.0

    @property
    def gross_g(self) -> float:
        return self.spec.tare_g + self.mass_g

    def has_liquid(self) -> bool:
        """Whether more is in it than saturated vapour would fill it with."""
        return self.mass_g > self.litres * self.fluid.saturated_vapour_density(self.temp_c)

    def draws_liquid(self) -> bool:
        return (self.spec.phase == "liquid" or self.turned_over) and self.has_liquid()

    def outlet_density(self) -> float:
        """Density of what the valve would let out, kg/m3."""
        if self.draws_liquid():
            return self.fluid.liquid_density(self.temp_c)
        return min(self.mass_g / self.litres, self.fluid.saturated_vapour_density(self.temp_c))

    def give(self, mass_g: float) -> None:
        """Let `mass_g` out (negative: in), as liquid or vapour; what boils to replace it chills the rest."""
        boiled_g = 0.0
        if self.has_liquid():
            share = self._vapour_share() if self.draws_liquid() else 1.0
            boiled_g = mass_g * share
        self.mass_g -= mass_g
        self.temp_c -= boiled_g * self.fluid.latent_j_per_g(self.temp_c) / self._fluid_j_per_k()

    def step(self, dt_s: float, ambient_c: float) -> None:
        """Heat flows from the surroundings through the shell into the fluid."""
        inward = self._inner_w_per_k * (self.shell_c - self.temp_c)
        outside = ambient_c if self.spec.warm_c is None else self.spec.warm_c
        from_outside = self._outer_w_per_k * (outside - self.shell_c)
        if self.heated_to_c is not None:
            from_outside = _FLAME_W_PER_K * (self.heated_to_c - self.shell_c)
        self.temp_c = max(self.temp_c + inward * dt_s / self._fluid_j_per_k(), COLDEST_C)
        self.shell_c += (from_outside - inward) * dt_s / self._shell_j_per_k
        self.p_kpa = self._pressure()

    def _fluid_j_per_k(self) -> float:
        return max(self.mass_g * self.fluid.liquid_cp_j_per_gk, 40.0)

    def _vapour_share(self) -> float:
        """Grams that boil to fill the room of one gram of liquid drawn."""
        vapour = self.fluid.saturated_vapour_density(self.temp_c)
        return vapour / self.fluid.liquid_density(self.temp_c)

    def _pressure(self) -> float:
        return self.fluid.vapour_pressure_kpa(max(self.mass_g, 0.0) / self.litres, self.temp_c)
