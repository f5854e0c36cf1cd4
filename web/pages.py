"""The pages. Each shows its figures without scripts; scripts make them live."""

from __future__ import annotations

import segno
from flask import Response, render_template, request

from logger.learned_lag import learned
from logger.port import CartPort
from logger.record.containers import ledger
from logger.record.errors import StoreError
from logger.record.visits import before_session
from web.glance import standing
from web.live import Live
from web.phone_actions import phones_of
from web.reading import findings_so_far, the_session
from web.routes import Query, Route
from web.schemas import TEXT
from web.security import is_paired

SPARK_POINTS = 60
LONGEST_LIST = 100
HTML = ("text/html", None)


def page(port: CartPort, template: str, **values) -> Response:
    """A template as a page, which knows whether this browser is paired."""
    return Response(render_template(template, paired=is_paired(port.pairing), **values), mimetype="text/html")


class Pages:
    """Views that answer with HTML."""

    def __init__(self, port: CartPort, live: Live):
        self._port, self._store, self._live, self._now = port, port.store, live, live.now

    def _page(self, template: str, **values) -> Response:
        return page(self._port, template, **values)

    def home(self):
        now = self._now()
        cautions = self._live.cautions(now["stage"])
        labels = [held["label"] for held in ledger(self._store)]
        alerts = standing(now["alerts"])
        known = self._vehicle_before(now["session_id"]) if now["session_id"] else None
        return self._page(
            "live.html", now=now, alerts=alerts, replay=None, cautions=cautions, labels=labels, before=known
        )

    def _vehicle_before(self, session_id: str) -> dict | None:
        """Earlier visits of the open session's vehicle; the record may be a moment behind the cart."""
        try:
            row = self._store.session(session_id)
        except StoreError:
            return None
        return before_session(self._store, row, self._port.findings())["before"]

    def sessions_page(self):
        wanted = request.args.get("q", "").strip()
        rows = self._store.sessions(LONGEST_LIST, wanted)
        sparks = {row["session_id"]: self._spark(row["session_id"]) for row in rows}
        return self._page("sessions.html", rows=rows, full=len(rows) == LONGEST_LIST, q=wanted, sparks=sparks)

    def session_page(self, id: str):
        row = the_session(self._store, id)
        others = [other for other in self._store.sessions(LONGEST_LIST) if other["session_id"] != id]
        findings = findings_so_far(self._port, id)
        known = before_session(self._store, row, findings)
        return self._page("session.html", row=row, findings=findings, others=others, **known)

    def replay_page(self, id: str):
        row = the_session(self._store, id)
        glance = {"do": "Replay of a kept session.", "hero": "weight"}
        empty = {"session_id": id, "stage": "", "channels": {}, "charge": {}, "glance": glance}
        return self._page("live.html", now=empty, alerts=[], replay=row)

    def cart_page(self):
        now = self._now()
        newest = next(iter(self._store.sessions(1)), None)
        known = self._store.session(newest["session_id"])["channels"] if newest else {}
        lag = learned(self._store, now.get("cart_id") or "")
        code = segno.make(request.host_url, error="m").svg_inline(
            border=2, omitsize=True, svgclass="qr", lineclass=None
        )
        return self._page(
            "cart.html",
            now=now,
            known=known,
            viewers=self._port.feed.viewers(),
            code=code,
            lag=lag,
            scale=self._port.scale.state(),
            sensors=self._port.sensors.state(),
            phones=phones_of(self._port.pairing),
        )

    def pair_page(self):
        return self._page("pair.html", code=request.args.get("code", ""))

    def manifest(self):
        return Response(render_template("manifest.webmanifest"), mimetype="application/manifest+json")

    def _spark(self, session_id: str) -> list:
        try:
            return self._store.readings(session_id, "scale", points=SPARK_POINTS)["mean"]
        except StoreError:
            return []

    def routes(self) -> list[Route]:
        search = Query("q", TEXT, about="words of the vehicle, the refrigerant or the id")
        manifest = {200: ("application/manifest+json", None)}
        return [
            Route("GET", "/", self.home, "Live", {200: HTML}),
            Route("GET", "/sessions", self.sessions_page, "All sessions", {200: HTML}, (search,)),
            Route("GET", "/sessions/{id}", self.session_page, "One session", {200: HTML}),
            Route("GET", "/sessions/{id}/replay", self.replay_page, "A session again", {200: HTML}),
            Route("GET", "/cart", self.cart_page, "Sensors and links", {200: HTML}),
            Route("GET", "/pair", self.pair_page, "Pair this phone", {200: HTML}, for_all=True),
            Route("GET", "/manifest.webmanifest", self.manifest, "For the home screen", manifest, for_all=True),
        ]
