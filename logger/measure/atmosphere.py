"""The standard atmosphere, and gauge against absolute pressure."""

from __future__ import annotations

import math
from dataclasses import dataclass

SEA_LEVEL_PA = 101325.0
PA_PER_INHG = 3386.389
"""Inch of mercury at 0 °C (NIST SP 811)."""

PA_PER_MICRON = 0.1333224
"""One thousandth of a millimetre of mercury (NIST SP 811)."""


def standard_pressure_pa(altitude_m: float) -> float:
    """Pressure at an altitude in the troposphere (ISO 2533): 101325 (1 - 0.0065 h / 288.15)^5.25588.

    Raises ValueError outside -2000…11000 m.
    """
    if not -2000.0 <= altitude_m <= 11000.0:
        raise ValueError(f"altitude {altitude_m} m is outside -2000…11000 m")
    return SEA_LEVEL_PA * (1.0 - 6.5e-3 * altitude_m / 288.15) ** 5.25588


@dataclass(frozen=True, slots=True)
class Ambient:
    """Ambient absolute pressure, whence it is known, and how far it may be wrong (pa, one-sided)."""

    pa: float
    source: str
    uncertainty_pa: float


def ambient_pressure(barometer_kpa: float | None, altitude_m: float | None) -> Ambient:
    """The barometer if it reads anything an atmosphere can have, else the altitude, else sea level by assumption.

    Weather moves the pressure at one place by about 3 kPa (common practice, no source).
    """
    if barometer_kpa is not None and 30.0 <= barometer_kpa <= 115.0:
        return Ambient(barometer_kpa * 1e3, "barometer", 200.0)
    if altitude_m is not None and -2000.0 <= altitude_m <= 11000.0:
        return Ambient(standard_pressure_pa(altitude_m), "altitude", 3000.0)
    return Ambient(SEA_LEVEL_PA, "assumed sea level", 20000.0)


def absolute_pa(gauge_kpa: float, ambient_pa: float) -> float:
    """Absolute pressure of a gauge reading; never below zero, as a transducer's error can make it seem."""
    return max(gauge_kpa * 1e3 + ambient_pa, 0.0)


def gauge_vacuum_inhg(absolute: float, ambient_pa: float) -> float:
    """What a compound needle would show below zero, in inHg, at an absolute pressure in Pa."""
    return (ambient_pa - absolute) / PA_PER_INHG


def micron(pressure_pa: float) -> float:
    """A pressure in micron of mercury."""
    return pressure_pa / PA_PER_MICRON if math.isfinite(pressure_pa) else math.nan
