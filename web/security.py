"""Who may change something, and what a page may load."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import urlsplit

from flask import Flask, Response, request
from werkzeug.http import parse_cookie

from logger.pairing import Pairing
from web.problems import Problem

COOKIE = "tarebook_pairing"
HOW_TO_PAIR = "open /pair on this phone and type the code that the cart shows, or send 'Authorization: Bearer TOKEN'"

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
PAGE_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
"""What only a document needs to be told; small files are spared it."""


def _bearer(headers: Mapping[str, str]) -> str | None:
    scheme, _, token = headers.get("Authorization", "").partition(" ")
    return token.strip() or None if scheme.lower() == "bearer" else None


def token_of(headers: Mapping[str, str]) -> str | None:
    """The token that a request with these headers carries, good or not."""
    return _bearer(headers) or parse_cookie(headers.get("Cookie")).get(COOKIE)


def token_given() -> str | None:
    """The token that the request carries, good or not."""
    return token_of(request.headers)


def is_paired(pairing: Pairing) -> bool:
    """Whether the request carries a token that the cart gave out."""
    token = token_given()
    return bool(token) and pairing.allows(token)


def require_same_origin() -> None:
    """Refuse a request that another site made this browser send.

    A browser names the origin of every POST; what carries its own bearer token needs no such proof.
    """
    origin = request.headers.get("Origin")
    if origin is not None and urlsplit(origin).netloc == request.host:
        return
    if origin is None and request.headers.get("Sec-Fetch-Site") == "same-origin":
        return
    raise Problem(403, "Foreign origin", "only pages of this cart may send this; programs send a bearer token")


def require_pairing(pairing: Pairing) -> None:
    """Let a changing request pass only with a token, and with the cookie only from our own pages."""
    if not is_paired(pairing):
        raise _not_paired()
    if _bearer(request.headers) is None:
        require_same_origin()


def _not_paired() -> Problem:
    return Problem(401, "Not paired", HOW_TO_PAIR, {"WWW-Authenticate": 'Bearer realm="cart"'})


def require_reader(pairing: Pairing) -> None:
    """Where even looking needs pairing, let nobody else look."""
    if not is_paired(pairing):
        raise _not_paired()


def give_cookie(response: Response, token: str) -> None:
    """Keep the token where no script can read it and no other site can make the browser send it."""
    response.set_cookie(COOKIE, token, max_age=180 * 86400, httponly=True, samesite="Strict", secure=request.is_secure)


def install_headers(app: Flask) -> None:
    @app.after_request
    def add(response: Response) -> Response:
        is_page = response.mimetype == "text/html"
        for name, value in (HEADERS | PAGE_HEADERS if is_page else HEADERS).items():
            response.headers.setdefault(name, value)
        response.headers.setdefault("Cache-Control", "no-store")
        return response
