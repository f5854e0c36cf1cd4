"""What a paired phone may change."""

from __future__ import annotations

import tempfile
from pathlib import Path

from flask import redirect, request

from logger.measure.marks import MARKS
from logger.pairing import PairingError
from logger.port import CartPort, NoSessionError
from web.answers import as_json, done
from web.heavy import Heavy
from web.problems import Problem
from web.reading import body_object
from web.routes import Route
from web.schemas import ref
from web.security import give_cookie, require_same_origin
from web.session_form import mark_from, setup_from

JSON = "application/json"
FORM = "application/x-www-form-urlencoded"


class Actions:
    """Views that change something; every one but pairing itself stands behind pairing."""

    def __init__(self, port: CartPort, heavy: Heavy):
        self._port, self._heavy = port, heavy

    def api_open(self):
        try:
            session_id = self._port.open_session(setup_from(body_object()))
        except ValueError as error:
            raise Problem(422, "Cannot begin this session", str(error)) from None
        return done({"session_id": session_id}, 201, "/")

    def api_mark(self, id: str):
        self._must_be_open(id)
        try:
            t_s = self._port.mark(mark_from(body_object(), MARKS))
        except ValueError as error:
            raise Problem(422, "Cannot take this mark", str(error)) from None
        return done({"done": True, "t_s": t_s}, 201, "/")

    def api_close(self, id: str):
        self._must_be_open(id)
        self._port.close_session()
        return done({"done": True}, 200, f"/sessions/{id}")

    def api_ack(self, code: str):
        standing = {alert["code"] for alert in self._port.now()["alerts"]}
        if code not in standing:
            raise Problem(404, "No such alert", f"no alert {code!r} stands now; GET /api/now shows those that do")
        try:
            self._port.ack(code)
        except NoSessionError as error:
            raise Problem(409, "No such alert any more", str(error)) from None
        return done({"done": True}, 200, "/")

    def api_valve(self):
        wanted = body_object().get("open")
        if not isinstance(wanted, bool):
            raise Problem(400, "Unusable body", 'send {"open": true} or {"open": false}')
        try:
            return as_json(self._port.order_valve(wanted))
        except ValueError as error:
            raise Problem(409, "No valve", str(error)) from None

    def api_upload(self):
        upload = request.files.get("recording")
        content = upload.read() if upload else request.get_data()
        if not content:
            raise Problem(400, "Nothing came", "send the zip as the body, or as the form field 'recording'")
        return done({"session_id": self._taken_in(content)}, 201, "/sessions")

    def _taken_in(self, content: bytes) -> str:
        """Judge an upload in another process, then let the cart, which alone writes, take it in; its session id."""
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "upload.zip"
            path.write_bytes(content)
            findings = self._heavy.findings(path)
            try:
                return self._port.import_recording(path, findings)
            except ValueError as error:
                raise Problem(422, "Cannot take this recording", str(error).replace(str(path), "the upload")) from None

    def api_pair(self):
        require_same_origin()
        body = body_object()
        try:
            token = self._port.pairing.exchange(str(body.get("code", "")), str(body.get("name", "")))
        except PairingError as error:
            raise _not_paired(error) from None
        answer = redirect("/", 303) if request.mimetype == FORM else as_json({"paired": True})
        give_cookie(answer, token)
        return answer

    def api_token(self):
        """The same exchange for a program, which keeps the token itself. A page of another site may not try codes."""
        if request.headers.get("Origin") is not None:
            require_same_origin()
        body = body_object()
        try:
            token = self._port.pairing.exchange(str(body.get("code", "")), str(body.get("name") or "program"))
        except PairingError as error:
            raise _not_paired(error) from None
        return as_json({"token": token}, 201)

    def _must_be_open(self, session_id: str) -> None:
        current = self._port.now()["session_id"]
        if current != session_id:
            raise Problem(409, "Not the open session", f"{session_id!r} is not open; the open one is {current!r}")

    def routes(self) -> list[Route]:
        one = "/api/sessions/{id}"
        made, ok = {201: (JSON, ref("Opened"))}, {200: (JSON, ref("Done"))}
        marked, code = {201: (JSON, ref("Done"))}, {JSON: ref("PairingCode")}
        zipped = {"application/zip": {"type": "string", "format": "binary"}}
        return [
            Route("POST", "/api/sessions", self.api_open, "Begin", made, body=_both("NewSession"), paired=True),
            Route("POST", f"{one}/marks", self.api_mark, "Tell something", marked, body=_both("Mark"), paired=True),
            Route("POST", f"{one}/close", self.api_close, "End it", ok, paired=True),
            Route("POST", "/api/alerts/{code}/ack", self.api_ack, "Acknowledge", ok, paired=True),
            Route("POST", "/api/recordings", self.api_upload, "Import", made, body=zipped, paired=True),
            Route(
                "POST",
                "/api/valve",
                self.api_valve,
                "Order the valve",
                {200: (JSON, ref("Valve"))},
                body={JSON: ref("ValveOrder")},
                paired=True,
            ),
            Route("POST", "/api/pair", self.api_pair, "Pair a browser", {200: (JSON, None)}, body=code, for_all=True),
            Route(
                "POST",
                "/api/token",
                self.api_token,
                "Pair a program",
                {201: (JSON, ref("PairingToken"))},
                body=code,
                for_all=True,
            ),
        ]


def _not_paired(error: PairingError) -> Problem:
    wait = {"Retry-After": str(round(error.retry_after_s))} if error.retry_after_s else {}
    return Problem(429 if wait else 403, "Not paired", str(error), wait)


def _both(name: str) -> dict[str, dict]:
    return {JSON: ref(name), FORM: {"type": "object"}}
