"""The cart's HTTP side: pages for people, an API for programs, one feed for both."""

from __future__ import annotations

import threading
from pathlib import Path

from flask import Flask, request

from logger.port import CartPort
from logger.record.attachments import LARGEST_BYTES
from web.actions import Actions
from web.assets import install_assets
from web.container_actions import ContainerActions
from web.feed import EventStreams
from web.filters import install_filters
from web.heavy import Heavy
from web.job_actions import JobActions
from web.live import Live
from web.openapi import openapi_document
from web.operations import Operations
from web.packing import install_packing
from web.pages import Pages
from web.phone_actions import PhoneActions
from web.plan_actions import PlanActions
from web.problems import install_problems
from web.review_actions import ReviewActions
from web.routes import Route, install_routes
from web.scale_actions import ScaleActions
from web.security import install_headers
from web.sessions_api import SessionsApi
from web.shop_pages import ShopPages

STREAM_SLOTS = 42
STREAM_LIFE_S = 60.0
MOST_BODY_BYTES = 64 * 1024
MOST_UPLOAD_BYTES = 64 * 1024 * 1024
MOST_PHOTO_BYTES = LARGEST_BYTES + 64 * 1024


def _limit_bodies(app: Flask) -> None:
    app.config["MAX_CONTENT_LENGTH"] = MOST_BODY_BYTES

    @app.before_request
    def allow_uploads() -> None:
        if request.path == "/api/recordings":
            request.max_content_length = MOST_UPLOAD_BYTES
        elif request.path.endswith("/photos"):
            request.max_content_length = MOST_PHOTO_BYTES


def create_app(
    port: CartPort,
    data_dir: Path = Path("."),
    *,
    stop: threading.Event | None = None,
    slots: int = STREAM_SLOTS,
    stream_life_s: float = STREAM_LIFE_S,
    heavy: Heavy | None = None,
    token_to_read: bool = False,
) -> Flask:
    """The Flask app on a cart's port.

    data_dir: the store's folder, for work done by another process. stop: set to end every open stream.
    slots: how many phones may watch live at once; the server needs more threads than that (see web.server).
    token_to_read: whether even looking needs pairing.
    """
    app = Flask(__name__, static_folder=None)
    streams = EventStreams(port.feed, stop or threading.Event(), slots, stream_life_s)
    heavy = heavy or Heavy(data_dir)
    build = install_assets(app)
    routes: list[Route] = []
    live = Live(port, streams, build, token_to_read)
    operations = Operations(port, live.now, lambda version: openapi_document(routes, version))
    for views in (
        live,
        SessionsApi(port, heavy),
        Actions(port, heavy),
        ScaleActions(port),
        JobActions(port),
        ReviewActions(port),
        ContainerActions(port),
        PlanActions(),
        PhoneActions(port.pairing),
        operations,
        Pages(port, live),
        ShopPages(port),
    ):
        routes += views.routes()
    _limit_bodies(app)
    install_filters(app)
    install_headers(app)
    install_packing(app)
    install_problems(app)
    install_routes(app, routes, port.pairing, token_to_read)
    return app
