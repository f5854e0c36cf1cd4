"""The review of the whole shop for programs, and a reviewer's word on one session."""

from __future__ import annotations

from logger.port import CartPort
from logger.record.gists import session_gists
from logger.record.reader import StoreReader
from logger.record.scale_checks import check_weights
from logger.session.shop_review import shop_review
from web.answers import as_json, done
from web.problems import Problem
from web.reading import body_object, the_session
from web.routes import Route
from web.schemas import TEXT, ref

JSON = "application/json"
FORM = "application/x-www-form-urlencoded"


def whole_shop(store: StoreReader) -> dict:
    """The review of every closed session in the store."""
    return shop_review(session_gists(store), check_weights(store))


class ReviewActions:
    """Views about judging sessions; a decision stands behind pairing."""

    def __init__(self, port: CartPort):
        self._store, self._desk = port.store, port.desk

    def api_review(self):
        return as_json(whole_shop(self._store))

    def api_decide(self, id: str):
        the_session(self._store, id)
        body = body_object()
        words = [str(body.get(key, "")).strip() for key in ("decision", "reviewer", "note")]
        try:
            self._desk.decide(id, *words)
        except ValueError as error:
            raise Problem(422, "Not decided", str(error)) from None
        return done({"done": True}, 200, f"/sessions/{id}#decision")

    def routes(self) -> list[Route]:
        decision = {
            "type": "object",
            "required": ["decision", "reviewer"],
            "properties": {"decision": {"enum": ["signed", "returned"]}, "reviewer": TEXT, "note": TEXT},
        }
        body, ok = {JSON: decision, FORM: {"type": "object"}}, {200: (JSON, ref("Done"))}
        one = "/api/sessions/{id}/decision"
        shop = {200: (JSON, ref("ShopReview"))}
        return [
            Route("GET", "/api/review", self.api_review, "All sessions judged together", shop),
            Route("POST", one, self.api_decide, "Sign off or return", ok, body=body, paired=True),
        ]
