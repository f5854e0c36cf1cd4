"""The names under which a cart may be asked: a page of another site must not reach it by a name of its own that it has
led to the cart's address, and read as if it were the cart."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable

from flask import Flask, request

from web.problems import Problem


def is_known(host: str, names: Iterable[str]) -> bool:
    """Whether a Host header (RFC 9110, 7.2) names this cart. Addresses, names without a dot and those of multicast DNS
    (RFC 6762) do: no site elsewhere can own one. `names`: others, `*.` standing for one label, as in certificates."""
    name = host.rpartition(":")[0] if not host.endswith("]") and ":" in host else host
    name = name.strip("[]").lower().rstrip(".")
    if "." not in name or name.endswith(".local") or name in names:
        return bool(name)
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return f"*.{name.partition('.')[2]}" in names
    return True


def install_hosts(app: Flask, names: Iterable[str]) -> None:
    """Refuse what is asked under any other name."""
    known = frozenset(name.lower().rstrip(".") for name in names)

    @app.before_request
    def refuse_strange_names() -> None:
        if not is_known(request.host, known):
            mend = "add it to names under [http] in the cart file, or use the address that the cart shows"
            raise Problem(421, "Misdirected Request", f"this cart is not known as {request.host!r}: {mend}")
