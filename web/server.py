"""The app on a socket, by waitress, with a thread for every open stream and some to spare; under TLS where wanted."""

from __future__ import annotations

import logging
import shutil
import ssl
import tempfile
import threading
from pathlib import Path

from flask import Flask
from waitress import wasyncore

from web.app import STREAM_SLOTS
from web.doorkeeper import DoorkeptInside, DoorkeptServer, most_connections
from web.limits import guarded_channels, has_room
from web.tls_front import TlsFront

SPARE_THREADS = 8
PAGES = "pages"
HANDSHAKES = 64
"""Connections in front that the server behind has not yet, and may find room for."""


class WebServer:
    """Serves `app` in a thread of its own until `stop`; port 0 takes a free one.

    Every open stream holds a thread, so there are more threads than `slots`; else ordinary pages would wait for ever.
    tls: the context to serve under; waitress, which has no TLS, then listens on a socket that only this user can reach.
    """

    def __init__(
        self,
        app: Flask,
        host: str,
        port: int,
        stop: threading.Event,
        slots: int = STREAM_SLOTS,
        tls: ssl.SSLContext | None = None,
    ):
        self._stop, self.host = stop, host
        self._sockets: dict = {}
        self._folder: Path | None = None
        logging.getLogger("waitress").setLevel(logging.ERROR)  # a line for each phone that leaves is for no one
        common = {
            "map": self._sockets,
            "threads": slots + SPARE_THREADS,
            "ident": None,
            "connection_limit": most_connections(),
            "asyncore_use_poll": True,
        }
        if tls is None:
            self._front, self._server = None, DoorkeptServer(app, host=host, port=port, **common)
        else:
            self._folder = Path(tempfile.mkdtemp(prefix="tarebook-web-"))
            self._front = self._in_front(tls, host, port)
            self._server = DoorkeptInside(app, unix_socket=str(self._folder / PAGES), url_scheme="https", **common)
        self._server.channel_class = guarded_channels(app.extensions["pairing"])
        self._thread = threading.Thread(target=self._server.run, name="web", daemon=True)
        self.port = self._front.port if self._front else self._server.effective_port

    @property
    def url(self) -> str:
        return f"{'https' if self._front else 'http'}://{self.host}:{self.port}/"

    def start(self) -> None:
        self._thread.start()
        if self._front:
            self._front.start()

    def stop(self, timeout_s: float = 5.0) -> None:
        """End the streams, let every thread finish what it answers, let the server's loop end, then close all sockets.

        In another order a thread, or this one, would wake a loop whose pipe is closed.
        """
        self._stop.set()
        self._server.task_dispatcher.shutdown(timeout=timeout_s)
        held: dict = {}

        def leave() -> None:
            held.update(self._sockets)
            self._sockets.clear()

        self._server.trigger.pull_trigger(leave)
        self._thread.join(timeout_s)
        wasyncore.close_all(held, ignore_all=True)
        if self._front:
            self._front.stop(timeout_s)
            shutil.rmtree(self._folder, ignore_errors=True)

    def _in_front(self, tls: ssl.SSLContext, host: str, port: int) -> TlsFront:
        try:
            return TlsFront(tls, host, port, self._folder / PAGES, most_connections() + HANDSHAKES, has_room)
        except OSError:
            shutil.rmtree(self._folder)
            raise
