"""Cautions for the stage at hand, as data: usual practice of the trade, with the source where there is one.

They remind; they replace neither local codes, nor the vehicle maker's data, nor a licensed person.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from logger.measure.marks import STAGES
from logger.measure.refrigerants import UnknownRefrigerant, refrigerant

ALL_STAGES = tuple(stage for stage in STAGES if stage != "closed")
PRACTICE = "common practice, no source"
FLAMMABLE = ("A2L", "A2", "A3")


@dataclass(frozen=True, slots=True)
class Caution:
    """stages: where it applies. classes: ASHRAE 34 safety classes it is for; places: jurisdictions; refrigerants: their
    ASHRAE 34 numbers; () for any."""

    code: str
    words: str
    source: str
    stages: tuple[str, ...] = ALL_STAGES
    classes: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    refrigerants: tuple[str, ...] = ()


CAUTIONS = (
    Caution(
        "local-codes-first",
        "Local codes, the vehicle maker's data and licensed practice come before anything shown here.",
        "40 CFR 82.34(a): certified technician, approved equipment",
    ),
    Caution(
        "gloves-and-glasses", "Wear gloves and safety glasses: liquid refrigerant freezes skin and eyes.", PRACTICE
    ),
    Caution(
        "no-venting",
        "Do not vent refrigerant: recover it with approved equipment.",
        "40 CFR 82.154(a)",
        ("identification", "recovery", "evacuation", "charging"),
    ),
    Caution(
        "never-heat-container",
        "Never heat a container above 52 °C (125 °F), and never with a flame.",
        "vehicle makers' service literature; liquid may not fill it at 55 °C: 49 CFR 173.304(b)",
        ("recovery", "charging"),
    ),
    Caution(
        "no-overfill",
        "Fill a recovery container to no more than 80 % of its volume at 21 °C.",
        "40 CFR 82 subpart B appendix C, 7.2",
        ("recovery",),
    ),
    Caution(
        "high-side-shut",
        "Keep the high-side valve closed while the engine runs.",
        PRACTICE,
        ("charging", "performance"),
    ),
    Caution(
        "vapour-upright",
        "Into the low side of a running compressor only vapour: container upright, valve opened slowly.",
        PRACTICE,
        ("charging",),
    ),
    Caution(
        "clear-of-belts",
        "Keep hands, hoses and sleeves clear of the fan and the belts.",
        PRACTICE,
        ("charging", "performance"),
    ),
    Caution(
        "no-shop-air",
        "Never test pressure or look for leaks with shop air: mixed with refrigerant it can burn.",
        "40 CFR 82 subpart B appendix C, 5.2",
        ("identification", "pressure_hold", "evacuation", "vacuum_hold"),
    ),
    Caution(
        "dry-nitrogen-only",
        "Only dry nitrogen under pressure, never oxygen: with oil it explodes. Nothing but a regulator, set beforehand "
        "and with a relief valve, between the cylinder and the hoses.",
        PRACTICE,
        ("pressure_hold",),
    ),
    Caution(
        "below-test-pressure",
        "Stay below the vehicle maker's test pressure; the low side is the weaker. Recover the refrigerant first, "
        "raise the pressure in steps, let it down slowly.",
        PRACTICE,
        ("pressure_hold",),
    ),
    Caution(
        "no-ignition",
        "Flammable refrigerant, heavier than air: no sparks, flames or hot lamps low down; air the place well.",
        "ASHRAE 34 safety class A2L or A2",
        ALL_STAGES,
        FLAMMABLE,
    ),
    Caution(
        "burning-refrigerant",
        "Burning it gives hydrogen fluoride: leave the area and call the fire service.",
        PRACTICE,
        refrigerants=("R-1234yf", "R-152a"),
    ),
    Caution(
        "built-for-it", "Charge it into systems built for it, no others.", PRACTICE, refrigerants=("R-152a", "R-744")
    ),
    Caution(
        "beyond-this-cart",
        "R-744 works at up to 13 MPa, far above what this cart's sensors, hoses and valve bear: use equipment rated "
        "for it. It displaces air: ventilate the room.",
        PRACTICE,
        refrigerants=("R-744",),
    ),
    Caution(
        "no-longer-made",
        "R-12 depletes the ozone layer and is no longer made: recover every gram, mend the leak before any refill.",
        PRACTICE,
        refrigerants=("R-12",),
    ),
    Caution(
        "oil-of-electric-compressors",
        "Electric compressors take only the maker's insulating oil; a little of another kind ruins them.",
        PRACTICE,
        ("oil_and_dye",),
    ),
    Caution(
        "recycle-before-return",
        "Recovered refrigerant is recycled before it goes back, even into the same vehicle.",
        "40 CFR 82.32(e)(1)",
        ("recovery", "charging"),
        (),
        ("US",),
    ),
    Caution(
        "repair-before-refill",
        "A system that lost an abnormal amount may not be refilled before the repair is done.",
        "Directive 2006/40/EC Art. 6(3); UK SI 2009/2194",
        ("identification", "vacuum_hold", "charging"),
        (),
        ("EU", "UK"),
    ),
)

SHOP_CODE = "shop-reminder"
SHOP_SOURCE = "the shop's own words, from the cart file"

NO_REFILL_PLACES = {"EU": "EU", "UK": "UK"}
"""Where a system that lost refrigerant may not be refilled before repair (2006/40/EC Art. 6(3), UK SI 2009/2194)."""


def cautions_for(stage: str, refrigerant_number: str = "", jurisdiction: str = "") -> list[Caution]:
    """The cautions to show, the general one first.

    An unknown refrigerant is taken to be flammable. jurisdiction: "US", "EU", "UK" or another text, which gets the
    general ones only.
    """
    safety = _safety_class(refrigerant_number)
    return [
        caution
        for caution in CAUTIONS
        if stage in caution.stages
        and (not caution.classes or safety is None or safety in caution.classes)
        and (not caution.places or jurisdiction.upper() in caution.places)
        and (not caution.refrigerants or refrigerant_number in caution.refrigerants)
    ]


def shop_words(setup: Mapping, name: str) -> str:
    """What the shop wants said at a stage, or under REFILL_REMINDER of a refill; "" where it has nothing to say."""
    told = setup.get("reminders")
    return str(told.get(name) or "") if isinstance(told, Mapping) else ""


def forbids_refill(jurisdiction: str) -> str | None:
    """The name of the law's place where refilling before repair is forbidden, None where we know of no such duty."""
    return NO_REFILL_PLACES.get(jurisdiction.upper())


def _safety_class(number: str) -> str | None:
    try:
        return refrigerant(number).safety_class
    except UnknownRefrigerant:
        return None
