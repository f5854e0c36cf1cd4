"""What a placard means, while it is typed: the amount, and what to draw from which container."""

from __future__ import annotations

from logger.measure.plan import PlanError, hose_vapour_g, plan_charge
from logger.measure.refrigerants import UnknownRefrigerant
from logger.plan_text import plan_as_json
from logger.quantities import QuantityError, parse_placard
from web.answers import as_json
from web.problems import Problem
from web.reading import body_object
from web.routes import Route
from web.schemas import NUMBER, TEXT, ref
from web.session_form import containers_of, number_of

JSON = "application/json"


class PlanActions:
    """Reads, changes nothing, and so needs no pairing."""

    def api_placard(self):
        body = body_object()
        try:
            return as_json(self._read(body))
        except (QuantityError, PlanError, UnknownRefrigerant) as error:
            raise Problem(422, "Not understood", str(error)) from None

    def _read(self, body: dict) -> dict:
        placard = parse_placard(str(body.get("placard", "")))
        read = {
            "low_g": placard.low_g,
            "high_g": placard.high_g,
            "target_g": (placard.low_g + placard.high_g) / 2,
            "tolerance_assumed": placard.tolerance_assumed,
        }
        if containers := containers_of(str(body.get("containers") or "")):
            refrigerant = str(body.get("refrigerant") or "R-134a")
            hose_ml = _hose_ml(body)
            residue_g = hose_vapour_g(hose_ml, refrigerant)
            read["plan"] = plan_as_json(plan_charge(placard, containers, hose_ml, residue_g, refrigerant))
        return read

    def routes(self) -> list[Route]:
        told = {"placard": TEXT, "containers": TEXT, "refrigerant": TEXT, "hose_volume_ml": {"oneOf": [NUMBER, TEXT]}}
        body = {JSON: {"type": "object", "properties": told}}
        return [
            Route(
                "POST", "/api/placard", self.api_placard, "Read a placard", {200: (JSON, ref("PlacardRead"))}, body=body
            )
        ]


def _hose_ml(body: dict) -> float:
    try:
        return number_of("hose_volume_ml", str(body.get("hose_volume_ml") or "0"))
    except ValueError as error:
        raise QuantityError(str(error)) from None
