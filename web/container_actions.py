"""The container ledger for programs and for paired phones: add, correct, send on, compare with the scale."""

from __future__ import annotations

import math
from collections.abc import Callable

from flask import Response

from logger.gauge_quantities import parse_gauge_kpa, parse_temperature_c
from logger.port import CartPort
from logger.quantities import QuantityError, parse_mass_g
from logger.record.containers import ContainerError, check_by_scale, ledger, movements
from web.answers import as_json, done
from web.problems import Problem
from web.reading import body_object
from web.routes import Route
from web.schemas import TEXT, ref

JSON = "application/json"
FORM = "application/x-www-form-urlencoded"
MASSES = ("tare", "full", "start", "water_capacity")
SOAKED_S = 12 * 3600.0


class ContainerActions:
    """Views of the ledger; what changes something stands behind pairing. Masses may be typed with their unit."""

    def __init__(self, port: CartPort):
        self._port, self._store, self._desk = port, port.store, port.desk

    def api_containers(self):
        return as_json({"containers": ledger(self._store)})

    def api_container(self, label: str):
        return as_json({**self._known(label), "movements": movements(self._store, label)})

    def api_add_container(self):
        body = body_object()
        texts = {key: str(body.get(key, "")).strip() for key in ("label", "kind", "refrigerant", "note")}
        known = {f"{name}_g": _mass(body, name) for name in MASSES}
        known |= {"note": texts.pop("note"), "retest_due": str(body.get("retest_due") or "") or None}
        return self._done(lambda: self._desk.add_container(**texts, **known), 201, f"/containers/{texts['label']}")

    def api_correct_container(self, label: str):
        body = body_object()
        left_g = _needed(body, "left")
        return self._done(
            lambda: self._desk.correct_container(label, left_g, str(body.get("note", ""))), 200, f"/containers/{label}"
        )

    def api_stamp_container(self, label: str):
        """What is stamped on it, read again."""
        body = body_object()
        masses = [_mass(body, name) for name in ("tare", "water_capacity")]
        due = str(body.get("retest_due") or "") or None
        return self._done(lambda: self._desk.stamp_container(label, *masses, due), 200, f"/containers/{label}")

    def api_check_air(self, label: str):
        """Pressure and temperature of a container at rest, judged for air."""
        body = body_object()
        gauge_kpa = _typed(body, "pressure", parse_gauge_kpa)
        temp_c = _typed(body, "temperature", parse_temperature_c)
        soaked_s = SOAKED_S if body.get("stood_12_h") else None
        told = (gauge_kpa, temp_c, self._port.ambient(), soaked_s, bool(body.get("gauge_zeroed")))
        return self._done(lambda: self._desk.check_container_air(label, *told), 200, f"/containers/{label}")

    def api_send_container(self, label: str):
        body = body_object()
        mass_g = _needed(body, "mass")
        texts = [str(body.get(key, "")) for key in ("facility", "address", "note")]
        return self._done(lambda: self._desk.send_container(label, mass_g, *texts), 200, f"/containers/{label}")

    def api_weigh_container(self, label: str):
        """What the scale shows, as it stands on the platform now, beside what the ledger says."""
        self._known(label)
        try:
            return as_json(check_by_scale(self._store, label, self._port.scale.resting_g()))
        except ValueError as error:
            raise Problem(409, "Not weighed", str(error)) from None

    def _known(self, label: str) -> dict:
        found = next((held for held in ledger(self._store) if held["label"] == label), None)
        if found is None:
            raise Problem(404, "No such container", f"container {label} is not in the ledger: add it first")
        return found

    def _done(self, order: Callable[[], None], status: int, page: str) -> Response:
        try:
            order()
        except ContainerError as error:
            raise Problem(404 if "not in the ledger" in str(error) else 422, "Not done", str(error)) from None
        except ValueError as error:
            raise Problem(422, "Not done", str(error)) from None
        return done({"done": True}, status, page)

    def routes(self) -> list[Route]:
        one, ok = "/api/containers/{label}", {200: (JSON, ref("Done"))}
        held, listed = {200: (JSON, ref("Container"))}, {200: (JSON, ref("Containers"))}
        weighed = {200: (JSON, {"type": "object"})}
        add, made = _body("label", "kind", "refrigerant"), {201: (JSON, ref("Done"))}
        air, any_of = _body("pressure", "temperature"), _body()
        left, away = _body("left", "note"), _body("mass", "facility", "address")
        return [
            Route("GET", "/api/containers", self.api_containers, "The ledger", listed),
            Route("GET", one, self.api_container, "One, with its movements", held),
            Route("POST", "/api/containers", self.api_add_container, "Add one", made, body=add, paired=True),
            Route("POST", f"{one}/correct", self.api_correct_container, "Correct it", ok, body=left, paired=True),
            Route("POST", f"{one}/stamp", self.api_stamp_container, "Its stamp", ok, body=any_of, paired=True),
            Route("POST", f"{one}/air", self.api_check_air, "Check it for air", ok, body=air, paired=True),
            Route("POST", f"{one}/send", self.api_send_container, "Send stock on", ok, body=away, paired=True),
            Route("POST", f"{one}/weigh", self.api_weigh_container, "Scale beside ledger", weighed, paired=True),
        ]


def _body(*needed: str) -> dict[str, dict]:
    told = {"type": "object", "required": list(needed), "properties": dict.fromkeys(needed, TEXT)}
    return {JSON: told, FORM: {"type": "object"}}


def _needed(body: dict, name: str) -> float:
    mass_g = _mass(body, name)
    if mass_g is None:
        line = f"{name}: write a mass, for instance 340 g or 12 oz"
        raise Problem(422, "Not done", line, fields={name: line})
    return mass_g


def _typed(body: dict, name: str, parse: Callable[[str], float]) -> float:
    try:
        return parse(str(body.get(name) or ""))
    except QuantityError as error:
        raise Problem(422, "Not done", f"{name}: {error}", fields={name: f"{name}: {error}"}) from None


def _mass(body: dict, name: str) -> float | None:
    """A mass typed with its unit under `name`, or in grams under `name` + "_g"; None where neither is there."""
    value = body.get(f"{name}_g", body.get(name))
    if value is None or value == "":
        return None
    try:
        if isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value):
            return float(value)
        return 0.0 if str(value).strip() in ("0", "0 g") else parse_mass_g(str(value))
    except (QuantityError, OverflowError) as error:
        raise Problem(422, "Not done", f"{name}: {error}", fields={name: f"{name}: {error}"}) from None
