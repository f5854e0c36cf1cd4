"""Notes of the job as a phone sends them, JSON or the fields of a form, read into what the record keeps."""

from __future__ import annotations

from collections.abc import Mapping

from werkzeug.datastructures import MultiDict

from logger.record.report_units import KM_PER_MILE
from logger.session.job import CHECKS

NUMBERS = ("odometer_km", "oil_recovered_ml", "dye_ml", "identifier_purity_pct")
FLAG_KEYS = ("repair_done", "checked_caps_and_label")
FLAGS = {"true": True, "false": False}


def job_from(body: Mapping) -> dict:
    """Texts put into the types a job has; an empty one takes the key back. What is no number stays a text, to be named
    by whoever checks the job."""
    return {key: _typed(key, value) for key, value in body.items()}


def fields_of(form: MultiDict) -> dict:
    """A form's flat fields; `part`, `oil_ml` and `part_note` come once a part."""
    told: dict = {key: form[key] for key in form if key in CHECKS and key != "parts"}
    if "part" in form:
        columns = zip(*(form.getlist(name) for name in ("part", "oil_ml", "part_note")), strict=False)
        told["parts"] = [_part(*texts) for texts in columns if texts[0].strip()]
    return told


def _part(part: str, oil_ml: str, note: str) -> dict:
    return {"part": part, "oil_ml": oil_ml, "note": note}


def _typed(key: str, value: object) -> object:
    if key == "parts" and isinstance(value, list):
        return [_typed_part(part) for part in value]
    if not isinstance(value, str):
        return value
    if not value.strip():
        return None
    if key == "odometer_km":
        return _distance_km(value)
    return _number(value) if key in NUMBERS else FLAGS.get(value, value) if key in FLAG_KEYS else value.strip()


def _typed_part(part: object) -> object:
    return {**part, "oil_ml": _number(part.get("oil_ml"))} if isinstance(part, Mapping) else part


def _distance_km(text: str) -> object:
    """Kilometres of `90 000`, `90000 km` or `56 000 mi`; the text itself where it says neither."""
    plain = text.strip().lower()
    for unit, km in (("km", 1.0), ("miles", KM_PER_MILE), ("mi", KM_PER_MILE)):
        if plain.endswith(unit):
            found = _number(plain.removesuffix(unit))
            return round(found * km, 1) if isinstance(found, float) else text
    return _number(text)


def _number(value: object) -> object:
    if not isinstance(value, str):
        return value
    if not value.strip():
        return None
    try:
        return float("".join(value.split()).replace(",", "."))
    except ValueError:
        return value
