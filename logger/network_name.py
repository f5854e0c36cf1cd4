"""The cart's name on its network (multicast DNS, RFC 6762), so that phones need no address; a convenience that may fail
alone, and then says so."""

from __future__ import annotations

import contextlib
import logging
import re
import socket
import threading

log = logging.getLogger(__name__)

SERVICES = {"http": "_http._tcp.local.", "https": "_https._tcp.local."}
"""As registered with IANA (RFC 6335)."""


def host_name(cart_id: str) -> str:
    """`tarebook-CART`, of letters, digits and hyphens as host names are (RFC 1123)."""
    plain = re.sub(r"[^a-z0-9]+", "-", cart_id.lower()).strip("-")[:40]
    return f"tarebook-{plain}".rstrip("-")


class NetworkName:
    """Announces `SCHEME://tarebook-CART.local:PORT/` at `address` from `start` to `stop`; nothing where it is None.

    `status` is one line at any time: the name, or why there is none.
    """

    def __init__(self, cart_id: str, address: str | None, port: int, scheme: str = "http"):
        self._name, self._cart_id, self._address, self._port = host_name(cart_id), cart_id, address, port
        self._scheme, self._zeroconf = scheme, None
        self._thread = threading.Thread(target=self._announce, name="network-name", daemon=True)
        self.status = "not announced yet"

    def start(self) -> None:
        """Begin; asking whether the name is free takes a second or two, in a thread of its own."""
        if self._address is None:
            self.status = "none: the pages are served to this machine only"
            return
        self._thread.start()

    def stop(self) -> None:
        """Take the name back. Harmless when there is none."""
        if self._thread.is_alive():
            self._thread.join(5.0)
        if self._zeroconf is not None:
            with contextlib.suppress(Exception):
                self._zeroconf.close()

    def _announce(self) -> None:
        try:
            self._register()
        except ModuleNotFoundError:
            self._failed("the package zeroconf is not installed: pip install 'tarebook[name]'")
        except Exception as error:
            taken = type(error).__name__ == "NonUniqueNameException"
            self._failed("another machine has it already" if taken else str(error) or type(error).__name__)
        else:
            self.status = f"{self._scheme}://{self._name}.local:{self._port}/"

    def _register(self) -> None:
        from zeroconf import ServiceInfo, Zeroconf

        self._zeroconf = Zeroconf(interfaces=[self._address])
        service = SERVICES[self._scheme]
        about = ServiceInfo(
            service,
            f"{self._name}.{service}",
            addresses=[socket.inet_aton(self._address)],
            port=self._port,
            properties={"path": "/", "cart": self._cart_id},
            server=f"{self._name}.local.",
        )
        self._zeroconf.register_service(about, allow_name_change=False)

    def _failed(self, why: str) -> None:
        self.status = f"none: {why}"
        log.warning("no name on the network: %s", why)
