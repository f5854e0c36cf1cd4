"""What the job needs noted beside the readings: vehicle, parts and oil, leak and repair, who did it.

Told in parts as things become known, each part a `note` mark whose detail holds {"job": {...}}; later parts go before
earlier ones, and None takes a key back.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping

from logger.session.vin import VinError, parse_vin

OIL_HINTS = {
    "compressor": "what was drained, at least 90 ml; a new one ships with 140-240 ml: drain it first",
    "condenser": "30 ml",
    "evaporator": "90 ml",
    "accumulator": "what was drained and 30-60 ml more, or 105 ml",
    "receiver-drier": "30 ml",
    "hose or line": "none after a slow leak, 20 ml for a new line, 60-90 ml after it burst",
    "whole system": "120-270 ml",
    "none": "as much as came out with the refrigerant",
}
"""Oil to add with each part (service literature of several vehicle makers, R-134a); the maker's data go before."""

DYE_HINT = "about 7 ml once per system, 1-4 ml of a concentrate; it takes the place of as much oil (from memory)"
LEAK_VERDICTS = ("not looked for", "none found", "found")
IDENTIFIER_RESULTS = ("not used", "pass", "fail")
ODOMETER_MOST_KM = 3_000_000
OIL_MOST_ML = 2000
TEXT_MOST = 2000


class JobError(ValueError):
    """A note that cannot be kept: one line that names the key and the mend."""


def check_job(data: object) -> tuple[dict, list[str]]:
    """The keys of `data` that can be kept, and one line for each that cannot."""
    if not isinstance(data, Mapping):
        return {}, ['job: write an object such as {"technician": "...", "odometer_km": 90000}']
    kept, problems = {}, []
    for key, value in data.items():
        try:
            kept[str(key)] = None if value is None else _checker(str(key))(str(key), value)
        except (JobError, VinError) as error:
            problems.append(str(error))
    return kept, problems


def merge_job(job: Mapping, told: Mapping) -> dict:
    """The job with what has been told since; None takes a key out."""
    return {key: value for key, value in {**job, **told}.items() if value is not None}


def job_of_vehicle(vehicle: Mapping[str, str]) -> dict:
    """What a session's description says of the vehicle already, as far as it can be kept."""
    known = {key: vehicle[key] for key in ("vin", "registration") if vehicle.get(key)}
    odometer = vehicle.get("odometer_km", "")
    if odometer.isdigit():
        known["odometer_km"] = float(odometer)
    return check_job(known)[0]


def _text(key: str, value: object) -> str:
    if not isinstance(value, str) or len(value) > TEXT_MOST:
        raise JobError(f"{key}: write a text of at most {TEXT_MOST} characters")
    return value.strip()


def _vin(key: str, value: object) -> str:
    return parse_vin(_text(key, value))


def _number(most: float) -> Callable[[str, object], float]:
    def check(key: str, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= sys.float_info.max:
            raise JobError(f"{key}: {value!r} is not a number: write one without its unit")
        if not 0 <= value <= most:
            raise JobError(f"{key}: {value:g} is not between 0 and {most:g}")
        return float(value)

    return check


def _one_of(words: tuple[str, ...]) -> Callable[[str, object], str]:
    def check(key: str, value: object) -> str:
        if value not in words:
            raise JobError(f"{key}: {value!r} is none of: {', '.join(words)}")
        return str(value)

    return check


def _flag(key: str, value: object) -> bool:
    if not isinstance(value, bool):
        raise JobError(f"{key}: write true or false, not {value!r}")
    return value


def _parts(key: str, value: object) -> list[dict]:
    if not isinstance(value, (list, tuple)):
        raise JobError(f'{key}: write a list such as [{{"part": "condenser", "oil_ml": 30}}]')
    return [_part(f"{key}[{k}]", part) for k, part in enumerate(value)]


def _part(key: str, part: object) -> dict:
    if not isinstance(part, Mapping) or not part.get("part"):
        raise JobError(f'{key}: write {{"part": "condenser", "oil_ml": 30}}')
    found = {"part": _text(f"{key}.part", part["part"])}
    if part.get("oil_ml") is not None:
        found["oil_ml"] = _number(OIL_MOST_ML)(f"{key}.oil_ml", part["oil_ml"])
    if part.get("note"):
        found["note"] = _text(f"{key}.note", part["note"])
    return found


CHECKS: dict[str, Callable[[str, object], object]] = {
    "vin": _vin,
    "registration": _text,
    "odometer_km": _number(ODOMETER_MOST_KM),
    "placard_text": _text,
    "complaint": _text,
    "parts": _parts,
    "oil_type": _text,
    "oil_recovered_ml": _number(OIL_MOST_ML),
    "dye_ml": _number(OIL_MOST_ML),
    "technician": _text,
    "certificate": _text,
    "leak_verdict": _one_of(LEAK_VERDICTS),
    "leak_method": _text,
    "leak_place": _text,
    "repair_done": _flag,
    "repair": _text,
    "identifier_result": _one_of(IDENTIFIER_RESULTS),
    "identifier_purity_pct": _number(100.0),
    "checked_caps_and_label": _flag,
    "notes": _text,
}
"""Every key a job knows, and what checks and cleans its value."""


def _checker(key: str) -> Callable[[str, object], object]:
    if key not in CHECKS:
        raise JobError(f"{key}: a job has no such key; it knows {', '.join(CHECKS)}")
    return CHECKS[key]
