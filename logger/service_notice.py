"""What the service manager is told: that the program is up, that it goes on, that it ends (sd_notify(3))."""

from __future__ import annotations

import contextlib
import os
import socket


def notify(state: str) -> None:
    """Send `state` ("READY=1", "WATCHDOG=1", "STOPPING=1") to the manager that started this program, if one did."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return
    if address[0] == "@":
        address = "\0" + address[1:]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender, contextlib.suppress(OSError):
        sender.sendto(state.encode(), address)


class Watchdog:
    """Pings only while every part has gone on since the last ping: a timer that pings by itself proves nothing."""

    def __init__(self) -> None:
        self._last: tuple[int, ...] = ()

    def look(self, progress: tuple[int, ...]) -> bool:
        """progress: one growing count a part. Whether a ping was sent."""
        if len(progress) == len(self._last) and any(
            now == then for now, then in zip(progress, self._last, strict=True)
        ):
            return False
        self._last = progress
        notify("WATCHDOG=1")
        return True
