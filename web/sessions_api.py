"""What the record holds, for programs."""

from __future__ import annotations

import re

from flask import Response, request

from logger.port import CartPort
from logger.record.visits import before_now, before_session
from web.answers import as_json
from web.heavy import Heavy
from web.problems import Problem
from web.reading import findings_so_far, points_wanted, span_wanted, the_session
from web.routes import Query, Route
from web.schemas import TEXT, ref

JSON = "application/json"
UNITS = ("metric", "us")
LONGEST_NAME = 80


class SessionsApi:
    """Views of sessions; files are made by another process."""

    def __init__(self, port: CartPort, heavy: Heavy):
        self._port, self._store, self._heavy = port, port.store, heavy

    def api_sessions(self):
        return as_json({"sessions": self._store.sessions()})

    def api_session(self, id: str):
        row = the_session(self._store, id)
        return as_json({**row, **before_session(self._store, row, findings_so_far(self._port, id))})

    def api_visits(self):
        """What is known of a vehicle from before, while its VIN or registration is typed."""
        vehicle = {key: request.args.get(key, "")[:LONGEST_NAME] for key in ("vin", "registration")}
        if wanted := request.args.get("session"):
            session = {**the_session(self._store, wanted), "vehicle": vehicle}
            return as_json(before_session(self._store, session, None))
        return as_json(before_now(self._store, vehicle, self._port.now().get("t_utc")))

    def api_findings(self, id: str):
        the_session(self._store, id)
        findings = findings_so_far(self._port, id)
        if findings is None:
            raise Problem(404, "No findings", f"session {id!r} was closed before it could be judged; replay it")
        return as_json(findings)

    def api_readings(self, id: str):
        known = the_session(self._store, id)["channels"]
        channel = request.args.get("channel", "")
        if channel not in known:
            raise Problem(400, "Unknown channel", f"channel={channel!r} is none of {', '.join(sorted(known))}")
        return as_json(self._store.readings(id, channel, *span_wanted(), points_wanted()))

    def api_moments(self, id: str):
        row = the_session(self._store, id)
        content = self._heavy.moments(self._store.path, id, points_wanted(), row["duration_s"] or 0.0)
        return Response(content, mimetype=JSON)

    def api_report(self, id: str):
        return _file(self._report(id, "pdf"), "application/pdf", f"{_plain(id)}.pdf")

    def api_report_page(self, id: str):
        """The report to be printed from a browser; it carries its own styles, and may do nothing else."""
        response = Response(self._report(id, "html"), mimetype="text/html")
        response.headers["Content-Security-Policy"] = (
            "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
        )
        return response

    def _report(self, session_id: str, form: str) -> bytes:
        the_session(self._store, session_id)
        units = request.args.get("units", "metric")
        if units not in UNITS:
            raise Problem(400, "Unknown units", f"units={units!r} is none of {', '.join(UNITS)}")
        return self._heavy.report(session_id, form, units)

    def api_recording(self, id: str):
        the_session(self._store, id)
        return _file(self._heavy.recording(id), "application/zip", f"{_plain(id)}.zip")

    def routes(self) -> list[Route]:
        number = {"type": "number"}
        span = (
            Query("channel", TEXT, True, "a channel of this session"),
            Query("from_s", number),
            Query("to_s", number),
            Query("points", {"type": "integer", "minimum": 1, "maximum": 4000}, about="buckets; none hides a peak"),
        )
        vehicle = (
            Query("vin", TEXT),
            Query("registration", TEXT),
            Query("session", TEXT, about="only visits before this session; left out: all that are over"),
        )
        one, units = "/api/sessions/{id}", (Query("units", {"enum": list(UNITS)}, about="metric where not said"),)
        return [
            Route("GET", "/api/sessions", self.api_sessions, "All, newest first", {200: (JSON, ref("Sessions"))}),
            Route("GET", one, self.api_session, "One session", {200: (JSON, ref("SessionRow"))}),
            Route("GET", "/api/visits", self.api_visits, "A vehicle before", {200: (JSON, ref("Visits"))}, vehicle),
            Route("GET", f"{one}/findings", self.api_findings, "What it came to", {200: (JSON, ref("Findings"))}),
            Route("GET", f"{one}/readings", self.api_readings, "A channel", {200: (JSON, ref("Readings"))}, span),
            Route(
                "GET", f"{one}/moments", self.api_moments, "As it was shown", {200: (JSON, ref("Moments"))}, span[3:]
            ),
            Route("GET", f"{one}/report.pdf", self.api_report, "The report", {200: ("application/pdf", None)}, units),
            Route("GET", f"{one}/report.html", self.api_report_page, "To print", {200: ("text/html", None)}, units),
            Route("GET", f"{one}/recording.zip", self.api_recording, "As files", {200: ("application/zip", None)}),
        ]


def _plain(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9._-]+", "-", name)[:80] or "session"


def _file(content: bytes, mimetype: str, name: str) -> Response:
    response = Response(content, mimetype=mimetype)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
