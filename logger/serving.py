"""The cart's pages on the network: the server, its certificate, its name."""

from __future__ import annotations

import threading
from pathlib import Path

from firmware_bridge.cart import Cart
from logger.http_address import address_for_phones, parse_http, url_for_phones, url_of
from logger.network_name import NetworkName
from logger.port import CartPort
from logger.wallclock import WallClock


class Serving:
    """Serves from `start` to `stop`. http: "HOST:PORT", port 0 takes a free one. stop: set when the logger ends.

    Raises ValueError or OSError, one line, for an address that is taken or a certificate that cannot serve.
    """

    def __init__(self, cart: Cart, port: CartPort, folder: Path, http: str, wall: WallClock, stop: threading.Event):
        from web.app import create_app
        from web.certificate import read_certificate
        from web.server import WebServer

        settings = cart.http
        pair = settings.certificate and (Path(settings.certificate), Path(settings.key))
        self._certificate, self._wall = read_certificate(*pair) if pair else None, wall
        self.scheme = "https" if pair else "http"
        names = (*settings.names, *(self._certificate.names if pair else ()))
        app = create_app(port, folder, stop=stop, token_to_read=settings.token_to_read, names=names)
        self._web = WebServer(app, *parse_http(http), stop, tls=self._certificate.context if pair else None)
        self._name = NetworkName(cart.id, address_for_phones(self._web.host), self._web.port, self.scheme)

    @property
    def url(self) -> str:
        """Where the pages are, on this machine."""
        return url_of(self._web.host, self._web.port, self.scheme)

    @property
    def url_for_phones(self) -> str:
        """Where other machines on the network find them."""
        return url_for_phones(self._web.host, self._web.port, self.scheme)

    def shown(self) -> dict:
        """What the cart's snapshot says about them."""
        return {"network_name": self._name.status, "certificate": self.doubt()}

    def doubt(self) -> str | None:
        """One line when the certificate does not fit the date, None when it does, or there is none, or no date."""
        if self._certificate is None or not self._wall.trusted():
            return None
        return self._certificate.doubt(self._wall.now().timestamp())

    def start(self) -> None:
        self._web.start()
        self._name.start()

    def stop(self) -> None:
        self._name.stop()
        self._web.stop()
