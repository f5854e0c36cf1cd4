"""The app on a socket, by waitress, with a thread for every open stream and some to spare."""

from __future__ import annotations

import logging
import threading

from flask import Flask
from waitress import wasyncore

from web.app import STREAM_SLOTS
from web.doorkeeper import DoorkeptServer, most_connections

SPARE_THREADS = 8


class WebServer:
    """Serves `app` in a thread of its own until `stop`; port 0 takes a free one.

    Every open stream holds a thread, so there are more threads than `slots`; else ordinary pages would wait for ever.
    """

    def __init__(self, app: Flask, host: str, port: int, stop: threading.Event, slots: int = STREAM_SLOTS):
        self._stop = stop
        self._sockets: dict = {}
        logging.getLogger("waitress").setLevel(logging.ERROR)  # a line for each phone that leaves is for no one
        self._server = DoorkeptServer(
            app,
            map=self._sockets,
            host=host,
            port=port,
            threads=slots + SPARE_THREADS,
            ident=None,
            connection_limit=most_connections(),
        )
        self._thread = threading.Thread(target=self._server.run, name="web", daemon=True)
        self.host, self.port = host, self._server.effective_port

    @property
    def url(self) -> str:
        return f"http://{self.host}:{self.port}/"

    def start(self) -> None:
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> None:
        """End the streams, let every thread finish what it answers, then close all sockets from the server's own loop.

        In another order a thread would wake a loop that is gone.
        """
        self._stop.set()
        self._server.task_dispatcher.shutdown(timeout=timeout_s)
        self._server.trigger.pull_trigger(lambda: wasyncore.close_all(self._sockets, ignore_all=True))
        self._thread.join(timeout_s)
