"""A sensor board that began anew while the logger ran: told, for its valve has closed and its supply wants a look."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from firmware_bridge.source import Source
from logger.measure.ticks import Signal

CODE = "board-restarted"
TOLD_S = 60.0
MESSAGE = "The sensor board began anew: look at its supply and its plug. A valve on it has closed, and stays closed"


class BoardRestarts:
    """Watches what each source counts as `restarts`; a restart is told for a minute."""

    def __init__(self, sources: Sequence[Source], now_s: Callable[[], float] = time.monotonic):
        self._sources, self._now_s = sources, now_s
        self._counted: dict[str, int] = {}
        self._told_until_s: dict[str, float] = {}

    def conditions(self) -> list[tuple[str, Signal]]:
        """(subject, signal) for each source that can restart, active or not."""
        counts = {source.name: source.counters().get("restarts") for source in self._sources}
        return [self._of(name, count) for name, count in counts.items() if count is not None]

    def _of(self, name: str, count: int) -> tuple[str, Signal]:
        now_s = self._now_s()
        if count > self._counted.get(name, 0):
            self._told_until_s[name] = now_s + TOLD_S
        self._counted[name] = count
        return name, Signal(CODE, "caution", now_s < self._told_until_s.get(name, now_s), MESSAGE)
