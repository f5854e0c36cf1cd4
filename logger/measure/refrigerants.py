"""The refrigerants this cart knows, as data.

Adding one is adding an entry to `REFRIGERANTS` and running `tests/reference/build_tables.py` once.
Critical points, molar masses and gas viscosities at 25 °C: CoolProp 8.0.0. Safety classes: ASHRAE 34 (from memory, high
trust). High-side lines are ours: 350 psig lies below the 410 psig at which vehicle cut-outs begin to open; the vehicle
maker's limit goes before it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Refrigerant:
    """One refrigerant: ASHRAE 34 number, the name of its equation of state, and what must be known of it on a cart.

    gas_viscosity_pa_s is that of the dilute gas at 25 °C. high_side_limit_kpa is a gauge pressure.
    """

    number: str
    fluid: str
    safety_class: str
    molar_mass_kg_mol: float
    critical_c: float
    critical_pa: float
    gas_viscosity_pa_s: float
    high_side_limit_kpa: float


REFRIGERANTS: dict[str, Refrigerant] = {
    entry.number: entry
    for entry in (
        Refrigerant("R-134a", "R134a", "A1", 0.102032, 101.06, 4.0593e6, 11.82e-6, 2413.0),
        Refrigerant("R-1234yf", "R1234yf", "A2L", 0.1140416, 94.70, 3.3844e6, 12.39e-6, 2413.0),
        Refrigerant("R-152a", "R152A", "A2", 0.066051, 113.26, 4.5168e6, 11.13e-6, 2413.0),
        Refrigerant("R-744", "CO2", "A1", 0.0440098, 30.98, 7.3773e6, 14.91e-6, 13000.0),
        Refrigerant("R-12", "R12", "A1", 0.120913, 111.97, 4.1361e6, 11.84e-6, 2413.0),
    )
}


class UnknownRefrigerant(ValueError):
    """No data for a refrigerant."""


def refrigerant(number: str) -> Refrigerant:
    """The entry for an ASHRAE 34 number such as ``R-134a``; raises UnknownRefrigerant with the numbers there are."""
    entry = REFRIGERANTS.get(str(number).strip())
    if entry is None:
        raise UnknownRefrigerant(f"refrigerant {number!r} is not known; use one of {', '.join(REFRIGERANTS)}")
    return entry
