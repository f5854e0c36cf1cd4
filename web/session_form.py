"""A session or a mark as a phone sends it, read into what the cart takes."""

from __future__ import annotations

from collections.abc import Collection

from logger.measure.marks import STAGES
from logger.quantities import parse_mass_g, parse_placard

MASSES = {"target": "target_g", "container_nominal": "container_nominal_g"}
NUMBERS = ("target_g", "hose_volume_ml", "system_volume_ml", "close_lag_s", "container_nominal_g")
VEHICLE = ("registration", "vin", "make", "note")
LONGEST_TEXT = 400


def setup_from(body: dict) -> dict:
    """The keys of a session.json; a placard and masses may be typed as on a label. Raises ValueError, one line."""
    setup = {key: value for key, value in body.items() if key not in MASSES and key not in VEHICLE}
    for typed, key in MASSES.items():
        if typed in body:
            setup[key] = parse_mass_g(str(body[typed]))
    for key in NUMBERS:
        if isinstance(setup.get(key), str):
            setup[key] = number_of(key, setup[key])
    if isinstance(setup.get("placard"), str):
        placard = parse_placard(setup["placard"])
        setup["placard_text"], setup["placard"] = setup["placard"], {"low_g": placard.low_g, "high_g": placard.high_g}
    vehicle = {key: _short(key, body[key]) for key in VEHICLE if key in body}
    if vehicle:
        setup["vehicle"] = {**(setup.get("vehicle") or {}), **vehicle}
    return setup


def mark_from(body: dict, known: Collection[str]) -> dict:
    """{"mark", "detail"}; a form's flat fields become the detail. Raises ValueError, one line."""
    name = body.get("mark")
    if name not in known:
        raise ValueError(f"mark {name!r} is none of {', '.join(known)}")
    detail = body.get("detail", {key: value for key, value in body.items() if key != "mark"})
    if not isinstance(detail, dict):
        raise ValueError(f"detail {detail!r} is not a JSON object")
    if name == "stage" and detail.get("stage") not in STAGES:
        raise ValueError(f"stage {detail.get('stage')!r} is none of {', '.join(STAGES)}")
    if name == "compressor":
        detail = {"on": detail.get("on") in (True, "true", "on", "1")}
    if name == "note":
        detail = {"text": _short("text", detail.get("text", ""))}
    return {"mark": name, "detail": detail}


def number_of(key: str, text: str) -> float:
    """A number with a point or a comma. Raises ValueError, one line."""
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise ValueError(f"{key}: {text!r} is not a number") from None


def _short(key: str, value: object) -> str:
    text = str(value).strip()
    if len(text) > LONGEST_TEXT:
        raise ValueError(f"{key}: {len(text)} characters, at most {LONGEST_TEXT} are kept")
    return text
