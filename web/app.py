"""The cart's HTTP side: pages for people, an API for programs, one feed for both."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from pathlib import Path

from flask import Flask

from logger.port import CartPort
from web.actions import Actions
from web.assets import install_assets
from web.container_actions import ContainerActions
from web.feed import EventStreams
from web.filters import install_filters
from web.heavy import Heavy
from web.hosts import install_hosts
from web.job_actions import JobActions
from web.limits import limit_bodies
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


def create_app(
    port: CartPort,
    data_dir: Path = Path("."),
    *,
    stop: threading.Event | None = None,
    slots: int = STREAM_SLOTS,
    stream_life_s: float = STREAM_LIFE_S,
    heavy: Heavy | None = None,
    token_to_read: bool = False,
    names: Iterable[str] = (),
) -> Flask:
    """The Flask app on a cart's port.

    data_dir: the store's folder, for work done by another process. stop: set to end every open stream.
    slots: how many phones may watch live at once; the server needs more threads than that (see web.server).
    token_to_read: whether even looking needs pairing. names: those of the cart, besides its addresses and those of the
    local network.
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
    app.extensions["pairing"] = port.pairing
    limit_bodies(app)
    install_hosts(app, names)
    install_filters(app)
    install_headers(app)
    install_packing(app)
    install_problems(app)
    install_routes(app, routes, port.pairing, token_to_read)
    return app
