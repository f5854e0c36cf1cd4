"""Files of the pages, under a path that changes with their content so that phones may keep them for good."""

from __future__ import annotations

import gzip
import hashlib
from pathlib import Path

from flask import Flask, Response, abort, request

from web.bundle import bundled

STATIC = Path(__file__).with_name("static")
TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}


def _files() -> dict[str, bytes]:
    """Every file, scripts with all that they import."""
    texts = {path.name: path.read_text("utf-8") for path in sorted(STATIC.iterdir()) if path.suffix in TYPES}
    scripts = {name: text for name, text in texts.items() if name.endswith(".js")}
    return {name: (bundled(name, scripts) if name in scripts else text).encode() for name, text in texts.items()}


def assets_version(files: dict[str, bytes]) -> str:
    """A digest over every file, so that a page of an older build is recognised."""
    digest = hashlib.sha256()
    for name, content in files.items():
        digest.update(name.encode() + content)
    return digest.hexdigest()[:12]


def install_assets(app: Flask) -> str:
    """Serve the files at /static/VERSION/NAME, small; templates call `asset(NAME)`. Returns the version."""
    files = _files()
    packed = {name: gzip.compress(content, mtime=0) for name, content in files.items()}
    version = assets_version(files)

    def asset(version: str, name: str) -> Response:
        if name not in files:
            abort(404)
        small = "gzip" in request.accept_encodings
        response = Response(packed[name] if small else files[name], mimetype=TYPES[Path(name).suffix])
        if small:
            response.headers["Content-Encoding"] = "gzip"
        response.headers["Vary"] = "Accept-Encoding"
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response

    app.add_url_rule("/static/<version>/<name>", "asset", asset)
    app.jinja_env.globals.update(asset=lambda name: f"/static/{version}/{name}", build=version)
    return version
