"""How much one caller may ask for: connections, and bytes before it is known who sends them."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping
from http import HTTPStatus

from flask import Flask, request
from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.utilities import Error

from logger.pairing import Pairing
from logger.record.attachments import LARGEST_BYTES
from web.security import HOW_TO_PAIR, token_of

MOST_OF_ONE_CALLER = 32
MOST_BODY_BYTES = 64 * 1024
MOST_UPLOAD_BYTES = 64 * 1024 * 1024
MOST_PHOTO_BYTES = LARGEST_BYTES + 64 * 1024
LOOPBACK = ("127.", "::1", "localhost")
"""Programs on the cart itself, a proxy before it, and our own TLS in front: callers who speak for many."""


def has_room(address: str, held: int) -> bool:
    """Whether `address`, which holds `held` connections, gets one more: whoever keeps many busy shuts out no other."""
    return held < MOST_OF_ONE_CALLER or address.startswith(LOOPBACK)


def body_limit(path: str) -> int:
    """The longest body in bytes that `path` takes, from a paired caller."""
    if path == "/api/recordings":
        return MOST_UPLOAD_BYTES
    return MOST_PHOTO_BYTES if path.endswith("/photos") else MOST_BODY_BYTES


def limit_bodies(app: Flask) -> None:
    """Within the app; a server with `guarded_channels` refuses the same before it has taken a byte of it in."""
    app.config["MAX_CONTENT_LENGTH"] = MOST_BODY_BYTES

    @app.before_request
    def allow_uploads() -> None:
        request.max_content_length = body_limit(request.path)


class Refused(Error):
    """An answer given on a request's head alone, a problem document (RFC 9457)."""

    def __init__(self, status: HTTPStatus, detail: str):
        self.code, self.reason, self.detail = status.value, status.phrase, detail

    def to_response(self, ident: str | None = None) -> tuple[str, list, bytes]:
        told = {"type": "about:blank", "title": self.reason, "status": self.code, "detail": self.detail}
        head = [("Content-Type", "application/problem+json"), ("Cache-Control", "no-store")]
        return f"{self.code} {self.reason}", head, json.dumps(told).encode()


def guarded_channels(pairing: Pairing) -> Callable[..., HTTPChannel | None]:
    """What waitress is to make for a new connection: none when its caller has too many, else one that refuses a
    stranger's long body on its head: waitress would first take in all of it, a gigabyte from anybody, then ask the app.
    Who is paired is heard out, to be told by the app in its own words."""

    class Parser(HTTPRequestParser):
        def parse_header(self, header_plus: bytes) -> None:
            super().parse_header(header_plus)
            known = self.content_length > MOST_BODY_BYTES or self.chunked
            known = known and pairing.allows(token_of(_proper(self.headers)))
            limit = MOST_UPLOAD_BYTES if known else MOST_BODY_BYTES
            if self.chunked:
                self.adj = _with_limit(self.adj, limit)
            elif self.content_length > limit:
                self.error, self.completed, self.expect_continue = _too_long(self.path, known), True, False

    class Channel(HTTPChannel):
        parser_class = Parser

    def channel(server, conn, addr, adj: Adjustments, map: Mapping | None = None) -> HTTPChannel | None:
        if has_room(addr[0], [each.addr[0] for each in list(server.active_channels.values())].count(addr[0])):
            return Channel(server, conn, addr, adj, map=map)
        conn.close()
        return None

    return channel


def _too_long(path: str, paired: bool) -> Refused:
    if paired or body_limit(path) == MOST_BODY_BYTES:
        return Refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"this takes {body_limit(path)} bytes at most")
    return Refused(HTTPStatus.UNAUTHORIZED, HOW_TO_PAIR)


def _proper(headers: Mapping[str, str]) -> dict[str, str]:
    """waitress's `CONTENT_LENGTH` as HTTP writes it."""
    return {name.replace("_", "-").title(): value for name, value in headers.items()}


def _with_limit(adj: Adjustments, limit: int) -> Adjustments:
    """The same settings with room for a body of `limit` bytes; waitress refuses one that reaches its limit."""
    changed = copy.copy(adj)
    changed.max_request_body_size = limit + 1
    return changed
