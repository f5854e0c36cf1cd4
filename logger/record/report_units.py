"""The reader's units: metric, or those of a shop in the United States.

Factors: NIST SP 811, appendix B (avoirdupois ounce and pound-force per square inch exact to the digits given, micron of
mercury at 0 °C).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from logger.measure.atmosphere import PA_PER_MICRON

G_PER_OZ = 28.349523125
KPA_PER_PSI = 6.894757
ML_PER_FL_OZ = 29.5735295625
KM_PER_MILE = 1.609344
"""International mile, exact (NIST SP 811)."""
_QUANTITY = re.compile(
    r"(?P<first>\d+(?:\.\d+)?)(?:(?P<joint> to | ± )(?P<second>\d+(?:\.\d+)?))? (?P<unit>g|Pa)\b(?!/(?!year))"
)


class UnitsError(ValueError):
    """Units nobody knows, in one line."""


@dataclass(frozen=True, slots=True)
class Units:
    """Turns values in g, kPa, Pa, °C, K, ml and km into the reader's, as numbers (`in_…`) and as text."""

    us: bool

    @property
    def mass(self) -> str:
        return "oz" if self.us else "g"

    @property
    def pressure(self) -> str:
        return "psi" if self.us else "kPa"

    @property
    def vacuum(self) -> str:
        return "micron" if self.us else "Pa"

    @property
    def temperature(self) -> str:
        return "°F" if self.us else "°C"

    def in_mass(self, mass_g: float) -> float:
        return mass_g / G_PER_OZ if self.us else mass_g

    def in_pressure(self, pressure_kpa: float) -> float:
        return pressure_kpa / KPA_PER_PSI if self.us else pressure_kpa

    def in_vacuum(self, pressure_pa: float) -> float:
        return pressure_pa / PA_PER_MICRON if self.us else pressure_pa

    def in_temperature(self, temp_c: float) -> float:
        return temp_c * 1.8 + 32.0 if self.us else temp_c

    def mass_text(self, mass_g: float | None, digits: int | None = None) -> str:
        digits = (2 if self.us else 0) if digits is None else digits
        return "unknown" if mass_g is None else f"{number(self.in_mass(mass_g), digits)} {self.mass}"

    def mass_range(self, low_g: float, high_g: float) -> str:
        digits = 1 if self.us else 0
        return f"{number(self.in_mass(low_g), digits)} to {number(self.in_mass(high_g), digits)} {self.mass}"

    def pressure_text(self, pressure_kpa: float | None) -> str:
        return "unknown" if pressure_kpa is None else f"{number(self.in_pressure(pressure_kpa), 0)} {self.pressure}"

    def vacuum_text(self, pressure_pa: float | None) -> str:
        return "unknown" if pressure_pa is None else f"{figures(self.in_vacuum(pressure_pa))} {self.vacuum}"

    def temperature_text(self, temp_c: float | None) -> str:
        return "unknown" if temp_c is None else f"{number(self.in_temperature(temp_c), 0)} {self.temperature}"

    def volume_text(self, volume_ml: float) -> str:
        return f"{volume_ml / ML_PER_FL_OZ:.1f} fl oz" if self.us else f"{volume_ml:.0f} ml"

    def distance_text(self, km: float) -> str:
        return f"{km / KM_PER_MILE:.0f} miles" if self.us else f"{km:.0f} km"

    def measured_text(self, value: float | None, unit: str) -> str:
        """A measured value of the review in the reader's units."""
        if value is None:
            return "–"
        if unit == "g":
            return self.mass_text(value, 2 if self.us else 1)
        if unit == "Pa/s":
            return f"{number(self.in_vacuum(value) * 600.0, 1)} {self.vacuum} in 10 min"
        return self.vacuum_text(value) if unit == "Pa" else f"{value:.3g} {unit}".rstrip()

    def reworded(self, words: str) -> str:
        """A text with its masses in g and pressures in Pa put into the reader's units."""
        return _QUANTITY.sub(self._reword, words) if self.us else words

    def _reword(self, found: re.Match) -> str:
        first, second, unit = found["first"], found["second"], found["unit"]
        turn = self.in_mass if unit == "g" else self.in_vacuum
        values = [turn(float(text)) for text in (first, second) if text]
        shown = [figures(value) if unit == "Pa" else number(value, 2) for value in values]
        return f"{(found['joint'] or '').join(shown)} {self.mass if unit == 'g' else self.vacuum}"


def number(value: float, digits: int) -> str:
    """Rounded, with a true minus sign and no negative zero."""
    shown = round(value, digits) + 0.0
    return f"{shown:.{digits}f}".replace("-", "\u2212")


def figures(value: float, count: int = 3) -> str:
    """So many significant figures, never in powers of ten where it is large."""
    rounded = f"{value:.{count}g}"
    return f"{float(rounded):.0f}" if "e+" in rounded else rounded


def units_of(name: str) -> Units:
    """Raises UnitsError."""
    if name not in ("metric", "us"):
        raise UnitsError(f"units {name!r} are not known: write metric or us")
    return Units(name == "us")
