"""How figures and times read in a page that the server draws."""

from __future__ import annotations

import math
from collections.abc import Sequence

from flask import Flask
from jinja2 import Undefined
from markupsafe import Markup

from logger.session.job import DYE_HINT, IDENTIFIER_RESULTS, LEAK_VERDICTS, OIL_HINTS

NO_VALUE = "–"

CHANNEL_LABELS = {
    "scale": "Scale",
    "low_side": "Low side",
    "high_side": "High side",
    "vacuum": "Vacuum",
    "barometer": "Barometer",
    "ambient_temp": "Ambient",
    "vent_temp": "Vent air",
    "container_temp": "Container",
    "suction_temp": "Suction line",
    "liquid_temp": "Liquid line",
    "humidity": "Humidity",
}
STAGE_LABELS = {
    "identification": "Identify",
    "recovery": "Recovery",
    "pressure_hold": "Pressure hold",
    "evacuation": "Evacuation",
    "vacuum_hold": "Vacuum hold",
    "oil_and_dye": "Oil and dye",
    "charging": "Charging",
    "performance": "Performance",
    "closed": "Closed",
}
JOB_LABELS = {
    "vin": "VIN",
    "registration": "Registration",
    "odometer_km": "Odometer",
    "placard_text": "Placard reads",
    "complaint": "Complaint",
    "identifier_result": "Identifier",
    "identifier_purity_pct": "Purity",
    "oil_type": "Kind of oil",
    "oil_recovered_ml": "Oil that came out",
    "dye_ml": "Dye",
    "leak_verdict": "A leak was",
    "leak_method": "Looked for by",
    "leak_place": "Where",
    "repair_done": "Repair done",
    "repair": "Repaired",
    "technician": "Technician",
    "certificate": "Certificate",
    "checked_caps_and_label": "Caps and label back on",
    "notes": "Notes",
}
OWN_DIGITS = {"g": 0, "kPa": 0, "°C": 1, "K": 1}
"""How many a page shows of a quantity in its first unit when it is not asked for more."""
SIGNIFICANT = 3


def figure(value: float | None, digits: int = 0) -> str:
    """A number with a true minus sign and thin spaces between thousands, or a dash."""
    if value is None or isinstance(value, Undefined):
        return NO_VALUE
    return f"{value:,.{digits}f}".replace(",", "\u2009").replace("-", "\u2212")


def quantity(value: float | None, unit: str, digits: int = 0, sign: bool = False) -> str | Markup:
    """A figure with its unit, marked so that the page can show it in the unit that its reader chose."""
    if value is None or isinstance(value, Undefined):
        return NO_VALUE
    plus = "+" if sign and value > 0 else ""
    shown = reading({"value": value, "unit": "Pa"}) if unit == "Pa" else figure(value, digits)
    more = digits - OWN_DIGITS.get(unit, digits)
    words = Markup('<data value="{}" data-unit="{}" data-more="{}"{}>{}{} {}</data>')
    return words.format(value, unit, more, Markup(" data-sign") if sign else "", plus, shown, unit)


def reading(channel: dict) -> str:
    """A channel's value with as many digits as its sensor is worth."""
    value = channel.get("value")
    if value is None:
        return NO_VALUE
    if channel.get("unit") == "Pa":
        size = math.floor(math.log10(abs(value))) + 1 if value else 1
        return figure(value, max(0, SIGNIFICANT - 1 - max(size, 1)))
    return figure(value, {"°C": 1, "%": 0}.get(channel.get("unit", ""), 0))


def small(value: float) -> str:
    """Two significant figures, never in powers of ten where it is large."""
    if value == 0.0:
        return "0"
    return figure(value, max(0, 1 - math.floor(math.log10(abs(value)))))


def plain(value: float | None) -> str:
    """A number as a form's field holds it, empty where there is none."""
    return "" if value is None or isinstance(value, Undefined) else f"{value:.1f}".removesuffix(".0")


def clock(seconds: float | None) -> str:
    """Minutes and seconds, hours when there are any."""
    if seconds is None or isinstance(seconds, Undefined):
        return NO_VALUE
    whole = max(0, round(seconds))
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def when(utc: str | None) -> str:
    """An ISO 8601 time as day and minute."""
    return utc[:16].replace("T", " ") + " UTC" if utc else "time not known"


def spark(values: Sequence[float | None], width: float = 120, height: float = 28) -> str:
    """Points of an SVG polyline over the values; gaps are bridged. Empty when there is nothing to draw."""
    known = [(i, v) for i, v in enumerate(values) if v is not None]
    if len(known) < 2:
        return ""
    low, high = min(v for _, v in known), max(v for _, v in known)
    scale_x, scale_y = width / max(1, len(values) - 1), (height - 2) / ((high - low) or 1)
    return " ".join(f"{i * scale_x:.1f},{height - 1 - (v - low) * scale_y:.1f}" for i, v in known)


def install_filters(app: Flask) -> None:
    app.jinja_env.filters.update(
        figure=figure, small=small, plain=plain, quantity=quantity, reading=reading, clock=clock, when=when, spark=spark
    )
    app.jinja_env.globals.update(channel_labels=CHANNEL_LABELS, stage_labels=STAGE_LABELS, job_labels=JOB_LABELS)
    app.jinja_env.globals.update(
        oil_hints=OIL_HINTS, dye_hint=DYE_HINT, leak_verdicts=LEAK_VERDICTS, identifier_results=IDENTIFIER_RESULTS
    )
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
