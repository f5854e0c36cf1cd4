"""Where the page is served, and how a phone reaches it."""

from __future__ import annotations

import contextlib
import socket

# Phones come over the network: on every interface, unless --http or the cart's owner says otherwise.
DEFAULT_HTTP = "0.0.0.0:8080"
EVERYWHERE = ("0.0.0.0", "::", "")  # noqa: S104  # nosec B104


def parse_http(text: str) -> tuple[str, int]:
    """``HOST:PORT``, ``:PORT`` for every interface, ``[::1]:PORT`` for IPv6; port 0: a free one. Raises ValueError."""
    host, colon, port = text.rpartition(":")
    if not colon or not port.isascii() or not port.isdigit() or int(port) > 65535:
        raise ValueError(f"--http {text}: write HOST:PORT, for instance {DEFAULT_HTTP}")
    return host.strip("[]") or EVERYWHERE[0], int(port)


def free_near(host: str, port: int) -> int:
    """`port` where it can be listened on at `host`, else one that can."""
    for candidate in (port, 0):
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe, contextlib.suppress(OSError):
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((host, candidate))
            return probe.getsockname()[1]
    raise OSError(f"--http {host}:{port}: this machine has no such address to listen on")


def url_of(host: str, port: int, scheme: str = "http") -> str:
    """The page's address on this machine."""
    return f"{scheme}://{_bracketed('127.0.0.1' if host in EVERYWHERE else host)}:{port}/"


def url_for_phones(host: str, port: int, scheme: str = "http") -> str:
    """The page's address as others on the network see it; this machine's own where it is alone."""
    return url_of(address_for_phones(host) or host, port, scheme)


def address_for_phones(host: str) -> str | None:
    """The IPv4 address at which others on the network reach a page served at `host`; None where they cannot."""
    address = _outward_address() if host in EVERYWHERE else host
    return None if address is None or address.startswith("127.") or address in ("localhost", "::1") else address


def _outward_address() -> str | None:
    """The address that leads out of this machine. Choosing a route sends no packet; 192.0.2.1 is for documents only."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect(("192.0.2.1", 9))
        return probe.getsockname()[0]
    return None


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host
