"""The board's buzzer: three patterns that cannot be taken for each other, from the alerts that stand.

Pulses between 0.5 and 4 a second for danger, as ISO 7731 has it for danger signals (from memory); the other two are
slower or do not repeat. A danger sounds until it is acknowledged or gone; it cannot be turned off. A stop takes turns
with it: a danger such as a full card does not close the valve.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass

Request = Callable[..., object]
"""Sends one request to the board, as in `request(beep=120)`; may raise OSError."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """beeps: (sound, silence) in ms; repeat: whether it goes on while its alert stands unacknowledged."""

    name: str
    beeps: tuple[tuple[int, int], ...]
    repeat: bool


DANGER = Pattern("danger", ((180, 120),) * 4 + ((180, 600),), True)
STOP = Pattern("stop", ((900, 300), (900, 900)), True)
APPROACH = Pattern("approach", ((70, 130), (70, 130)), False)


def pattern_of(alert: dict) -> Pattern | None:
    """The pattern an alert calls for while nobody has acknowledged it; None: it is not for the ear."""
    if alert.get("state", "raised") != "raised":
        return None
    if alert["severity"] == "danger":
        return DANGER
    return {"stop-charging": STOP, "approaching-target": APPROACH}.get(alert["code"])


def choose(alerts: Iterable[dict], played: frozenset[int]) -> tuple[Pattern | None, int | None]:
    """The most urgent pattern that is due, and the seq of its alert; `played` names alerts already heard once."""
    due = [(pattern, alert["seq"]) for alert in alerts if (pattern := pattern_of(alert)) is not None]
    for wanted in (DANGER, STOP, APPROACH):
        for pattern, seq in due:
            if pattern is wanted and (pattern.repeat or seq not in played):
                return pattern, seq
    return None, None


class Buzzer:
    """Plays what the standing alerts call for, on the wall's time: it is meant for ears."""

    def __init__(self, request: Request):
        self._request = request
        self._changed = threading.Condition()
        self._alerts: tuple[dict, ...] = ()
        self._played: frozenset[int] = frozenset()
        self._last_heard: frozenset[int] = frozenset()
        self._gives_way: frozenset[int] = frozenset()
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name="buzzer", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        with self._changed:
            self._stopping = True
            self._changed.notify()
        self._thread.join(2)

    def look(self, alerts: Iterable[dict]) -> None:
        """The alerts that stand now; never waits."""
        with self._changed:
            self._alerts = tuple(alerts)
            self._played &= frozenset(alert["seq"] for alert in self._alerts)
            self._changed.notify()

    def alive(self) -> bool:
        return self._thread.is_alive()

    def _run(self) -> None:
        while (pattern := self._due()) is not None:
            for sound_ms, silence_ms in pattern.beeps:
                self._beep(sound_ms)
                if self._outdone(pattern, (sound_ms + silence_ms) / 1000):
                    break

    def _due(self) -> Pattern | None:
        """Wait for something to play; None when the buzzer is to end."""
        with self._changed:
            while not self._stopping:
                pattern, seq = self._in_turn()
                if pattern is not None:
                    self._played |= {seq}
                    return pattern
                self._changed.wait()
        return None

    def _in_turn(self) -> tuple[Pattern | None, int | None]:
        """The most urgent; but the dangers that were just heard give way to a stop, once."""
        heard, self._gives_way = self._last_heard, self._last_heard
        pattern, seq = self._choose(self._played)
        if not heard or pattern is not STOP:
            self._gives_way = frozenset()
            pattern, seq = self._choose(self._played)
        dangers = frozenset(alert["seq"] for alert in self._alerts if pattern_of(alert) is DANGER)
        self._last_heard = dangers if pattern is DANGER else frozenset()
        return pattern, seq

    def _choose(self, played: frozenset[int]) -> tuple[Pattern | None, int | None]:
        return choose([alert for alert in self._alerts if alert["seq"] not in self._gives_way], played)

    def _outdone(self, pattern: Pattern, seconds: float) -> bool:
        """Wait until the next beep is due; True at once when the pattern no longer is what the ear should hear."""
        with self._changed:
            return self._changed.wait_for(lambda: self._stopping or not self._still(pattern), seconds)

    def _still(self, pattern: Pattern) -> bool:
        due, _ = self._choose(self._played if pattern.repeat else frozenset())
        return due is pattern

    def _beep(self, sound_ms: int) -> None:
        try:
            self._request(beep=sound_ms)
        except OSError:
            """A board that has gone is named by its own alert; there is nothing to sound on."""
