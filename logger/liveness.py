"""Whether every part of the running logger goes on: a thread that has ended or hangs is named, not guessed at."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from logger.measure.ticks import Signal

CODE = "part-unwell"
STILL_S = 20.0
"""More than the longest pause that a part takes of itself, less than the patience of a service manager's watchdog."""
BROKER_AWAY_S = 60.0
TOLD_OTHERWISE = ("engine", "feed", "recorder")
"""An engine that hangs can tell nothing: the page sees it by the age of what it shows. Housekeeping tells of a disk."""
ENDED = "its thread has ended: restart the logger"


class Living(Protocol):
    """A part with a thread of its own."""

    def alive(self) -> bool: ...


class Turning(Living, Protocol):
    """One whose turns grow while it does its work."""

    turns: int


def ended(part: Living) -> Callable[[], str]:
    """Says the trouble of a part that only works when there is something to do."""
    return lambda: "" if part.alive() else ENDED


class GoesOn:
    """Watches one part by its count of turns."""

    def __init__(self, part: Turning, now_s: Callable[[], float] = time.monotonic):
        self._part, self._now_s = part, now_s
        self._turns, self._since_s = part.turns, now_s()

    def trouble(self) -> str:
        """What ails it, "" when nothing does; to be asked every few seconds."""
        if not self._part.alive():
            return ENDED
        now_s, turns = self._now_s(), self._part.turns
        if turns != self._turns:
            self._turns, self._since_s = turns, now_s
        still_s = now_s - self._since_s
        return f"has stood still for {still_s:.0f} s: restart the logger" if still_s > STILL_S else ""


class Liveness:
    """parts: by name, what says a part's trouble. broker: whether it is connected, None without a broker."""

    def __init__(
        self,
        parts: Mapping[str, Callable[[], str]],
        broker: Callable[[], bool] | None = None,
        now_s: Callable[[], float] = time.monotonic,
    ):
        self._parts, self._broker, self._now_s = dict(parts), broker, now_s
        self._lock = threading.Lock()
        self._broker_seen_s = now_s()

    def health(self) -> dict[str, str]:
        """Each part "ok" or what ails it."""
        with self._lock:
            return {name: trouble() or "ok" for name, trouble in self._parts.items()}

    def conditions(self) -> list[tuple[str, Signal]]:
        """(subject, signal) for each part, active or not."""
        told = [
            (name, Signal(CODE, "caution", state != "ok", f"Part of the logger is not well: {name} {state}"))
            for name, state in self.health().items()
            if name not in TOLD_OTHERWISE
        ]
        return told + self._of_broker()

    def _of_broker(self) -> Sequence[tuple[str, Signal]]:
        if self._broker is None:
            return []
        now_s = self._now_s()
        if self._broker():
            self._broker_seen_s = now_s
        away = now_s - self._broker_seen_s > BROKER_AWAY_S
        message = "The broker is away: alerts are kept, and sent when it is back"
        return [("broker", Signal(CODE, "notice", away, message))]
