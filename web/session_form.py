"""A session or a mark as a phone sends it, read into what the cart takes."""

from __future__ import annotations

import re
from collections.abc import Collection

from logger.containers_text import parse_container
from logger.measure.marks import STAGES
from logger.measure.plan import Container
from logger.quantities import QuantityError, parse_mass_g, parse_placard

MASSES = {"target": "target_g", "container_nominal": "container_nominal_g"}
NUMBERS = ("target_g", "hose_volume_ml", "system_volume_ml", "close_lag_s", "container_nominal_g")
VEHICLE = ("registration", "vin", "make", "note")
LONGEST_TEXT = 400
MOST_CONTAINERS = 40


def setup_from(body: dict) -> dict:
    """The keys of a session.json; a placard and masses may be typed as on a label. Raises ValueError, one line."""
    setup = {key: value for key, value in body.items() if key not in MASSES and key not in VEHICLE}
    for typed, key in MASSES.items():
        if typed in body:
            setup[key] = parse_mass_g(str(body[typed]))
    if "containers" in body:
        setup["containers_at_hand"] = setup.pop("containers")
        at_hand = containers_of(str(body["containers"]))
        setup["container_nominal_g"] = at_hand[0].nominal_g if at_hand else None
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


def containers_of(text: str) -> list[Container]:
    """Containers typed in one line, with commas or semicolons between them, `2 x 12 oz` for several of a kind. Raises
    QuantityError."""
    found: list[Container] = []
    for part in re.split(r"[;\n]+|,(?=\s)", text):
        many = re.fullmatch(r"\s*(\d{1,2})\s*[x×]\s*(.+)", part)
        if part.strip():
            found += [parse_container(many[2] if many else part)] * (int(many[1]) if many else 1)
    if len(found) > MOST_CONTAINERS:
        raise QuantityError(f"{len(found)} containers: name at most {MOST_CONTAINERS}")
    return found


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
