"""What a paired phone may do about the scale itself: tare, the empty platform, a check weight."""

from __future__ import annotations

from collections.abc import Callable

from logger.port import CartPort
from logger.quantities import parse_mass_g
from web.answers import as_json, done
from web.problems import Problem
from web.reading import body_object
from web.routes import Route
from web.schemas import ref

JSON = "application/json"
FORM = "application/x-www-form-urlencoded"


class ScaleActions:
    """Views about the scale; what changes something stands behind pairing."""

    def __init__(self, port: CartPort):
        self._port = port

    def api_scale(self):
        return as_json(self._port.scale.state())

    def api_tare(self):
        on = body_object().get("on", True)
        if on not in (True, False, "true", "false"):
            raise Problem(400, "Unusable body", 'send {"on": true} or {"on": false}')
        return self._done(lambda: self._port.scale.tare(on in (True, "true")))

    def api_weigh_empty(self):
        return self._done(self._port.scale.weigh_empty)

    def api_check_weight(self):
        text = str(body_object().get("mass", ""))
        return self._done(lambda: self._port.scale.check_weight(parse_mass_g(text)))

    def _done(self, order: Callable[[], dict]):
        try:
            return done(order(), 200, "/cart")
        except ValueError as error:
            raise Problem(422, "Not done", str(error)) from None

    def routes(self) -> list[Route]:
        ok = {200: (JSON, {"type": "object"})}
        mass = {"type": "object", "required": ["mass"], "properties": {"mass": {"type": "string"}}}
        on = {"type": "object", "properties": {"on": {"type": "boolean"}}}
        check = {JSON: mass, FORM: {"type": "object"}}
        tare = {JSON: on, FORM: {"type": "object"}}
        return [
            Route("GET", "/api/scale", self.api_scale, "Tare and checks of the scale", {200: (JSON, ref("Scale"))}),
            Route("POST", "/api/scale/tare", self.api_tare, "Weights from here", ok, body=tare, paired=True),
            Route("POST", "/api/scale/empty", self.api_weigh_empty, "Weigh the empty platform", ok, paired=True),
            Route("POST", "/api/scale/check", self.api_check_weight, "Weigh a known mass", ok, body=check, paired=True),
        ]
