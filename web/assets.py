"""Files of the pages, under a path that changes with their content so that phones may keep them for good."""

from __future__ import annotations

import hashlib
from pathlib import Path

from flask import Flask, Response, send_from_directory

STATIC = Path(__file__).with_name("static")


def assets_version() -> str:
    """A digest over every file, so that a page of an older build is recognised."""
    digest = hashlib.sha256()
    for path in sorted(STATIC.rglob("*")):
        if path.is_file():
            digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:12]


def install_assets(app: Flask) -> str:
    """Serve the files at /static/VERSION/NAME; templates call `asset(NAME)`. Returns the version."""
    version = assets_version()

    def static_file(version: str, name: str) -> Response:
        response = send_from_directory(STATIC, name)
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response

    app.add_url_rule("/static/<version>/<path:name>", "asset", static_file)
    app.jinja_env.globals["asset"] = lambda name: f"/static/{version}/{name}"
    app.jinja_env.globals["build"] = version
    return version
