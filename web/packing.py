"""Answers packed for a slow link."""

from __future__ import annotations

import gzip

from flask import Flask, Response, request

PACKED = ("application/json", "text/html")
WORTH_BYTES = 1400
"""What goes into one packet anyway is left as it is."""
LEVEL = 4


def _worth(response: Response) -> bool:
    return (
        response.mimetype in PACKED
        and not response.is_streamed
        and "Content-Encoding" not in response.headers
        and len(response.get_data()) > WORTH_BYTES
        and "gzip" in request.accept_encodings
    )


def install_packing(app: Flask) -> None:
    """Pages and JSON leave `app` gzipped where the browser takes it; the feed and small answers stay as they are.

    No answer holds both a secret and something that another site could put there, so its length tells nothing.
    """

    @app.after_request
    def pack(response: Response) -> Response:
        if _worth(response):
            response.set_data(gzip.compress(response.get_data(), LEVEL, mtime=0))
            response.headers["Content-Encoding"] = "gzip"
            response.headers["Vary"] = "Accept-Encoding"
        return response
