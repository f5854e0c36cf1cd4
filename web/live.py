"""The live figures: once, or as a stream."""

from __future__ import annotations

from web.answers import as_json, honest
from web.feed import EventStreams
from web.glance import with_glance
from web.problems import Problem
from web.routes import Query, Route
from web.schemas import TEXT, ref


class Live:
    """Views of what is so now."""

    def __init__(self, port, streams: EventStreams, build: str):
        self._port, self._streams, self._build = port, streams, build

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

    def api_now(self):
        return as_json(self.now())

    def api_feed(self):
        return self._streams.respond(self.now, self._shown)

    def routes(self) -> list[Route]:
        last = Query("last_event_id", TEXT, about="as the Last-Event-ID header, for a client that cannot send it")
        return [
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
