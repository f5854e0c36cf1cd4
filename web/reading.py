"""What the pages and the API take from the record, checked on the way."""

from __future__ import annotations

import math

from flask import request

from logger.port import CartPort
from logger.record.errors import StoreError
from logger.record.reader import StoreReader
from web.problems import Problem

MOST_POINTS = 4000


def the_session(store: StoreReader, session_id: str) -> dict:
    """The session with its setup and channels. Raises Problem 404."""
    try:
        return store.session(session_id)
    except StoreError as error:
        raise Problem(404, "No such session", str(error)) from None


def findings_so_far(port: CartPort, session_id: str) -> dict | None:
    """Those kept, or of the open session those so far."""
    kept = port.store.findings(session_id)
    so_far = None if kept else port.findings()
    return so_far if so_far and so_far["session_id"] == session_id else kept


def _number(name: str, default: float | None) -> float | None:
    text = request.args.get(name)
    if text is None or text == "":
        return default
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise Problem(400, "Unusable parameter", f"{name}={text!r} is not a number: write seconds such as 12.5")
    return value


def points_wanted() -> int:
    value = _number("points", 600)
    if not 1 <= value <= MOST_POINTS or value != int(value):
        raise Problem(400, "Unusable parameter", f"points must be a whole number from 1 to {MOST_POINTS}")
    return int(value)


def span_wanted() -> tuple[float | None, float | None]:
    """`from_s` and `to_s` of the request, None where open."""
    from_s, to_s = _number("from_s", None), _number("to_s", None)
    if from_s is not None and to_s is not None and from_s >= to_s:
        raise Problem(400, "Unusable parameter", f"from_s={from_s:g} must be below to_s={to_s:g}")
    return from_s, to_s


def body_object() -> dict:
    """The request's JSON object, or the fields of a form. Raises Problem 400."""
    if request.mimetype in ("application/x-www-form-urlencoded", "multipart/form-data"):
        return {name: value for name, value in request.form.items() if value.strip()}
    try:
        body = request.get_json(silent=True) if request.data else {}
    except RecursionError:
        body = None
    if not isinstance(body, dict):
        raise Problem(400, "Unusable body", "send a JSON object with Content-Type: application/json")
    return body
