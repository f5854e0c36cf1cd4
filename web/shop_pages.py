"""The pages about the whole shop: all sessions judged together, and the container ledger."""

from __future__ import annotations

from datetime import UTC, datetime
from io import BytesIO
from urllib.parse import quote

import segno
from flask import Response, request

from logger.port import CartPort
from logger.record.container_booking import unbooked, weighed
from logger.record.containers import KINDS, ledger, movements
from logger.record.decisions import disposable
from logger.record.gists import session_gists
from logger.record.scale_checks import check_weights
from logger.session.review import overall
from logger.session.shop_review import shop_review
from web.pages import HTML, LONGEST_LIST, page
from web.problems import Problem
from web.routes import Route

OUTCOMES = ("pass", "marginal", "fail", "not-judged")
KEPT_DAYS = 3 * 366
"""40 CFR 82.42(c): records are kept three years."""


class ShopPages:
    """Views that answer with HTML."""

    def __init__(self, port: CartPort):
        self._port, self._store = port, port.store

    def review_page(self):
        gists = list(session_gists(self._store))
        rows = [row for row in self._store.sessions(LONGEST_LIST) if not row["open"]]
        return page(
            self._port,
            "review.html",
            shop=shop_review(gists, check_weights(self._store)),
            rows=rows,
            judged={summary["session_id"]: _judged(findings) for summary, findings in gists},
            waiting=[row for row in rows if row["decision"] != "signed"],
            removable=len(disposable(self._store, KEPT_DAYS, datetime.now(UTC).isoformat())),
            outcomes=OUTCOMES,
        )

    def containers_page(self):
        return page(
            self._port,
            "containers.html",
            held=ledger(self._store),
            scales=weighed(self._store),
            missing=unbooked(self._store),
            kinds=KINDS,
        )

    def container_page(self, label: str):
        held = self._known(label)
        return page(
            self._port,
            "container.html",
            held=held,
            moves=movements(self._store, label),
            scale=weighed(self._store).get(label),
            code=code_of(f"{request.host_url}containers/{quote(label)}"),
        )

    def container_code(self, label: str):
        """The code alone, to be printed and stuck on."""
        self._known(label)
        drawn = BytesIO()
        segno.make(f"{request.host_url}containers/{quote(label)}", error="m").save(drawn, kind="svg", scale=8)
        return Response(drawn.getvalue(), mimetype="image/svg+xml")

    def _known(self, label: str) -> dict:
        held = next((held for held in ledger(self._store) if held["label"] == label), None)
        if held is None:
            raise Problem(404, "No such container", f"container {label} is not in the ledger: add it on /containers")
        return held

    def routes(self) -> list[Route]:
        one = "/containers/{label}"
        picture = {200: ("image/svg+xml", {"type": "string"})}
        return [
            Route("GET", "/review", self.review_page, "Sessions judged", {200: HTML}),
            Route("GET", "/containers", self.containers_page, "The container ledger", {200: HTML}),
            Route("GET", one, self.container_page, "One container", {200: HTML}),
            Route("GET", "/api/containers/{label}/code.svg", self.container_code, "Its QR code", picture),
        ]


def code_of(address: str) -> str:
    """A QR code as an SVG element."""
    return segno.make(address, error="m").svg_inline(border=2, omitsize=True, svgclass="qr", lineclass=None)


def _judged(findings: dict) -> tuple[str, str]:
    """The worst outcome, and the criteria that have it where it is a bad one."""
    rows = findings.get("review") or []
    worst = overall(rows)
    named = [row["criterion"] for row in rows if row["outcome"] == worst] if worst in ("fail", "marginal") else []
    return worst, ", ".join(named)
