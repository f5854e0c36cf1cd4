"""Saturation and vapour state of the refrigerants that the virtual cart can carry.

Short correlations of our own for the plant alone, so that what judges a session is never judged against its own tables.
Fitted to the equations of state of CoolProp 8 (R-134a: Tillner-Roth & Baehr 1994; R-1234yf: Lemmon & Akasaka 2022) over
-40..80 °C; within 1 % of them from -30 to 70 °C. Pressures in kPa absolute, temperatures in °C, densities in kg/m3
(which is g/L), latent heat in J/g.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

GAS_CONSTANT = 8.314462618
"""J/(mol K), CODATA 2018."""
ZERO_C_K = 273.15


@dataclass(frozen=True)
class Refrigerant:
    """One fluid: `ln_psat` in 1/T (K), the other polynomials in °C; coefficients from the constant term upwards."""

    name: str
    molar_g: float
    ln_psat: tuple[float, float, float]
    liquid: tuple[float, ...]
    ln_vapour: tuple[float, ...]
    latent: tuple[float, ...]
    liquid_cp_j_per_gk: float

    def psat_kpa(self, temp_c: float) -> float:
        """Saturation pressure."""
        a, b, c = self.ln_psat
        x = 1.0 / (temp_c + ZERO_C_K)
        return math.exp(a + x * (b + x * c))

    def tsat_c(self, p_kpa: float) -> float:
        """Saturation temperature, the exact inverse of `psat_kpa`. Raises ValueError unless `p_kpa` > 0."""
        a, b, c = self.ln_psat
        root = math.sqrt(b * b - 4.0 * c * (a - math.log(p_kpa)))
        return -2.0 * c / (b + root) - ZERO_C_K

    def liquid_density(self, temp_c: float) -> float:
        """Density of the saturated liquid."""
        return _polynomial(self.liquid, temp_c)

    def saturated_vapour_density(self, temp_c: float) -> float:
        """Density of the saturated vapour."""
        return math.exp(_polynomial(self.ln_vapour, temp_c))

    def latent_j_per_g(self, temp_c: float) -> float:
        """Latent heat of vaporisation."""
        return _polynomial(self.latent, temp_c)

    def vapour_pressure_kpa(self, density: float, temp_c: float) -> float:
        """Pressure of vapour of `density`, at most saturation: whatever is denser has begun to condense."""
        ideal = self._ideal_kpa(density, temp_c)
        return min(ideal / (1.0 + self._departure_per_kpa(temp_c) * ideal), self.psat_kpa(temp_c))

    def vapour_density(self, p_kpa: float, temp_c: float) -> float:
        """Density of vapour at `p_kpa`, at most that of saturated vapour."""
        p_kpa = min(max(p_kpa, 0.0), self.psat_kpa(temp_c))
        factor = 1.0 - self._departure_per_kpa(temp_c) * p_kpa
        return p_kpa * self.molar_g / (GAS_CONSTANT * (temp_c + ZERO_C_K) * factor)

    def _ideal_kpa(self, density: float, temp_c: float) -> float:
        return density * GAS_CONSTANT * (temp_c + ZERO_C_K) / self.molar_g

    def _departure_per_kpa(self, temp_c: float) -> float:
        """How fast the compressibility factor falls with pressure: linear from 1 to its value at saturation."""
        p = self.psat_kpa(temp_c)
        return (1.0 - p / self._ideal_kpa(self.saturated_vapour_density(temp_c), temp_c)) / p


def _polynomial(coefficients: tuple[float, ...], x: float) -> float:
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total


R134A = Refrigerant(
    name="R-134a",
    molar_g=102.032,
    ln_psat=(14.490236620638155, -2103.088195247593, -83077.668168083),
    liquid=(1294.49268, -3.32077706, -6.0692638e-3, -3.24867e-5, -1.063529e-6),
    ln_vapour=(2.67015968, 3.49834210e-2, -1.27778715e-4, 7.2315304e-7, 4.465e-10),
    latent=(198.540243, -0.738530512, -2.34214542e-3, -3.29138136e-5),
    liquid_cp_j_per_gk=1.42,
)
R1234YF = Refrigerant(
    name="R-1234yf",
    molar_g=114.042,
    ln_psat=(14.35341144332678, -2158.238708834893, -52167.21276293353),
    liquid=(1175.66911, -3.17326561, -5.75874405e-3, -2.259242e-5, -1.5062864e-6),
    ln_vapour=(2.87117197, 3.29445859e-2, -1.14034465e-4, 6.545217e-7, 1.7883748e-9),
    latent=(163.395012, -0.620904079, -2.20821513e-3, -3.77052097e-5),
    liquid_cp_j_per_gk=1.39,
)
REFRIGERANTS = {fluid.name: fluid for fluid in (R134A, R1234YF)}
