"""Answers in JSON that never carry NaN."""

from __future__ import annotations

import json
import math
from urllib.parse import quote

from flask import Response, redirect, request


def honest(value: object) -> object:
    """The same value with None where a number is not finite: JSON knows no NaN."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: honest(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [honest(item) for item in value]
    return value


def as_json(value: object, status: int = 200) -> Response:
    text = json.dumps(honest(value), allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    return Response(text, status, mimetype="application/json")


def done(value: object, status: int, page: str) -> Response:
    """JSON for a program; a form sent without scripts goes on to `page`."""
    is_form = request.mimetype in ("application/x-www-form-urlencoded", "multipart/form-data")
    if is_form and request.accept_mimetypes.best != "application/json":
        return redirect(quote(page, safe="/#?=&"), 303)
    return as_json(value, status)
