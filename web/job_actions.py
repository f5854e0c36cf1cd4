"""What a job needs noted beside the readings: the vehicle, parts and oil, leak and repair, photos."""

from __future__ import annotations

import re

from flask import Response, request

from logger.port import CartPort
from logger.record.errors import StoreError
from logger.record_desk import JobRefusedError
from logger.session.vin import VinError, has_check_digit, parse_vin
from web.answers import as_json, done
from web.job_form import fields_of, job_from
from web.problems import Problem
from web.reading import body_object, the_session
from web.routes import Route
from web.schemas import TEXT, ref

JSON = "application/json"
FORM = "application/x-www-form-urlencoded"
PICTURES = ("image/jpeg", "image/png", "image/webp")


class JobActions:
    """Views about a session's job; what changes something stands behind pairing."""

    def __init__(self, port: CartPort):
        self._port, self._store, self._desk = port, port.store, port.desk

    def api_job(self, id: str):
        the_session(self._store, id)
        told = fields_of(request.form) if request.mimetype == FORM else body_object()
        try:
            kept = self._desk.note_job(id, job_from(told))
        except JobRefusedError as error:
            raise Problem(422, "Not kept", str(error), fields=error.fields) from None
        except ValueError as error:
            raise Problem(409, "Not kept", str(error)) from None
        return done({"job": kept}, 200, f"/sessions/{id}#job")

    def api_vin(self):
        """Reads a VIN while it is typed."""
        try:
            vin = parse_vin(str(body_object().get("vin", "")))
        except VinError as error:
            raise Problem(422, "Not a VIN", str(error), fields={"vin": str(error)}) from None
        return as_json({"vin": vin, "check_digit": "matches" if has_check_digit(vin) else "none in its region"})

    def api_keep_photo(self, id: str):
        the_session(self._store, id)
        upload = request.files.get("photo")
        content = upload.read() if upload else request.get_data()
        media = (upload.mimetype if upload else request.mimetype) or ""
        kind = re.sub(r"[^a-z]+", " ", request.form.get("kind", "placard").lower()).strip()[:40] or "photo"
        try:
            number = self._desk.keep_photo(id, kind, media, content)
        except ValueError as error:
            raise Problem(422, "Not kept", str(error), fields={"photo": str(error)}) from None
        return done({"photo": number}, 201, f"/sessions/{id}#job")

    def api_photo(self, id: str, number: str):
        the_session(self._store, id)
        try:
            media, content = self._store.attachment(id, int(number) if number.isdecimal() else -1)
        except StoreError as error:
            raise Problem(404, "No such photo", str(error)) from None
        response = Response(content, mimetype=media)
        response.headers["Cache-Control"] = "private, max-age=86400"
        return response

    def routes(self) -> list[Route]:
        one = "/api/sessions/{id}"
        job, kept = {JSON: ref("Job"), FORM: {"type": "object"}}, {200: (JSON, {"type": "object"})}
        binary = {"type": "string", "format": "binary"}
        pictures = dict.fromkeys(PICTURES, binary)
        vin = {JSON: {"type": "object", "properties": {"vin": TEXT}}}
        number = {"type": "object", "properties": {"photo": {"type": "integer"}}}
        made = {201: (JSON, number)}
        return [
            Route("POST", f"{one}/job", self.api_job, "Note the job", kept, body=job, paired=True),
            Route("POST", f"{one}/photos", self.api_keep_photo, "Keep a photo", made, body=pictures, paired=True),
            Route("GET", f"{one}/photos/{{number}}", self.api_photo, "A photo", {200: ("image/jpeg", binary)}),
            Route("POST", "/api/vin", self.api_vin, "Check a VIN", kept, body=vin),
        ]
