"""Alerts as objects with a life: raised, acknowledged, cleared, each with its time."""

from __future__ import annotations

from dataclasses import dataclass

from logger.measure.ticks import Signal
from logger.session.events import Event


@dataclass(slots=True)
class Alert:
    """One alert; times are session seconds, None while it has not come to that."""

    seq: int
    t_s: float
    code: str
    subject: str
    severity: str
    message: str
    acknowledged_t_s: float | None = None
    cleared_t_s: float | None = None

    @property
    def state(self) -> str:
        if self.cleared_t_s is not None:
            return "cleared"
        return "raised" if self.acknowledged_t_s is None else "acknowledged"

    def to_json(self) -> dict:
        return {
            "seq": self.seq,
            "t_s": self.t_s,
            "code": self.code,
            "subject": self.subject,
            "severity": self.severity,
            "message": self.message,
            "state": self.state,
            "acknowledged_t_s": self.acknowledged_t_s,
            "cleared_t_s": self.cleared_t_s,
        }


class AlertBoard:
    """Every alert of a session, in order, and which of them stand."""

    def __init__(self) -> None:
        self.all: list[Alert] = []
        self._standing: dict[tuple[str, str], Alert] = {}

    def apply(self, t_s: float, signal: Signal, subject: str = "") -> list[Event]:
        """Raise or clear as the signal says; repeating what stands changes nothing."""
        key = (signal.code, subject)
        standing = self._standing.get(key)
        if signal.active:
            return [] if standing else [self._raise(t_s, signal, subject)]
        if standing is None:
            return []
        del self._standing[key]
        standing.cleared_t_s = t_s
        return [_event(t_s, standing)]

    def clear(self, t_s: float, code: str) -> list[Event]:
        """Clear every standing alert of `code`."""
        events = []
        for key in [key for key in self._standing if key[0] == code]:
            alert = self._standing.pop(key)
            alert.cleared_t_s = t_s
            events.append(_event(t_s, alert))
        return events

    def acknowledge(self, t_s: float, code: str) -> list[Event]:
        """Note that a person has seen `code`. An acknowledged danger stands until its condition has gone."""
        events = []
        for alert in self._standing.values():
            if alert.code == code and alert.acknowledged_t_s is None:
                alert.acknowledged_t_s = t_s
                events.append(_event(t_s, alert))
        return events

    def standing(self) -> list[Alert]:
        """Those not cleared, oldest first."""
        return list(self._standing.values())

    def _raise(self, t_s: float, signal: Signal, subject: str) -> Event:
        alert = Alert(len(self.all) + 1, t_s, signal.code, subject, signal.severity, signal.message)
        self.all.append(alert)
        self._standing[(signal.code, subject)] = alert
        return _event(t_s, alert)


def _event(t_s: float, alert: Alert) -> Event:
    return Event("alert", t_s, alert.to_json())
