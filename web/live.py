"""The live figures: once, or as a stream."""

from __future__ import annotations

from flask import request

from logger.measure.marks import STAGES
from logger.port import CartPort
from logger.record.errors import StoreError
from logger.session.cautions import SHOP_CODE, SHOP_SOURCE, cautions_for, shop_words
from web.answers import as_json, honest
from web.feed import EventStreams
from web.glance import with_glance
from web.problems import Problem
from web.routes import Query, Route
from web.schemas import TEXT, ref
from web.security import is_paired, token_given


class Live:
    """Views of what is so now."""

    def __init__(self, port: CartPort, streams: EventStreams, build: str, token_to_read: bool):
        self._port, self._streams, self._build = port, streams, build
        self._token_to_read = token_to_read

    def now(self) -> dict:
        """The latest snapshot. Raises Problem 503 while the cart has not looked yet."""
        now = self._port.now()
        if not now:
            raise Problem(
                503, "Starting", "the cart has not looked at its sensors yet; ask again", {"Retry-After": "1"}
            )
        return self._shown(now)

    def _shown(self, now: dict) -> dict:
        """With what one glance needs, and which build of the pages it is meant for."""
        return honest({**with_glance(now), "build": self._build})

    def cautions(self, stage: str) -> list[dict]:
        """What to mind at `stage` with the refrigerant and the law of the open session."""
        now, stage = self._port.now(), stage or STAGES[0]
        setup = self._setup(now)
        found = cautions_for(stage, now.get("refrigerant") or "", str(setup.get("jurisdiction") or ""))
        told = [{"code": caution.code, "words": caution.words, "source": caution.source} for caution in found]
        own = shop_words(setup, stage)
        return told + ([{"code": SHOP_CODE, "words": own, "source": SHOP_SOURCE}] if own else [])

    def _setup(self, now: dict) -> dict:
        try:
            return self._port.store.session(now["session_id"])["setup"] if now.get("session_id") else {}
        except StoreError:
            return {}

    def api_cautions(self):
        stage = request.args.get("stage") or self.now()["stage"] or STAGES[0]
        if stage not in STAGES:
            raise Problem(400, "Unknown stage", f"stage={stage!r} is none of {', '.join(STAGES)}")
        return as_json({"stage": stage, "cautions": self.cautions(stage)})

    def api_now(self):
        return as_json(self.now())

    def api_feed(self):
        token, pairing = token_given(), self._port.pairing
        may_watch = (lambda: pairing.allows(token)) if self._token_to_read else (lambda: True)
        return self._streams.respond(self.now, self._shown, is_paired(pairing), may_watch)

    def routes(self) -> list[Route]:
        last = Query("last_event_id", TEXT, about="as the Last-Event-ID header, for a client that cannot send it")
        return [
            Route(
                "GET",
                "/api/cautions",
                self.api_cautions,
                "What to mind at a stage",
                {200: ("application/json", ref("Cautions"))},
                (Query("stage", {"enum": list(STAGES)}, about="else the stage that is on"),),
            ),
            Route("GET", "/api/now", self.api_now, "The latest of everything", {200: ("application/json", ref("Now"))}),
            Route(
                "GET",
                "/api/feed",
                self.api_feed,
                "Server-sent events: now, alert, stage, session",
                {200: ("text/event-stream", {"type": "string"})},
                (last,),
            ),
        ]
