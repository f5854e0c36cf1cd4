"""A monotonic clock that can run faster than the wall, so that a virtual cart need not take hours."""

from __future__ import annotations

import threading
import time


class Clock:
    """Monotonic seconds, `speed` of them to each real second (1 on a real cart)."""

    def __init__(self, speed: float = 1.0):
        self.speed = speed
        self._origin = time.monotonic()

    def now(self) -> float:
        """Seconds on this clock; its zero is that of `time.monotonic` at speed 1."""
        return self._origin + (time.monotonic() - self._origin) * self.speed

    def real_s(self, seconds: float) -> float:
        """How long `seconds` of this clock take on the wall: for timeouts handed to the system."""
        return seconds / self.speed

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait until `event` is set or `seconds` of this clock have passed; whether it is set."""
        return event.wait(self.real_s(seconds))
