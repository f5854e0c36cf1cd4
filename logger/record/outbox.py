"""Alerts that have yet to reach the broker: each is put in with the alert itself, and taken out once acknowledged."""

from __future__ import annotations

from logger.record.store import Store

_PENDING = """
SELECT outbox.seq AS place, cart_id, session_id, alert.seq, t_s, code, subject, severity, message, state,
    acknowledged_t_s, cleared_t_s
FROM outbox
    JOIN session ON session.id = outbox.session
    JOIN alert ON alert.session = outbox.session AND alert.seq = outbox.alert_seq
ORDER BY outbox.seq"""


class Outbox:
    """The outbox of a store that this process writes. May be used from any thread."""

    def __init__(self, store: Store):
        self._store = store
        self._reader = store.reader()
        self._sent: set[int] = set()

    def pending(self, limit: int = 100) -> list[tuple[int, dict]]:
        """What is on disk and has not been sent, oldest first: its place in the outbox, and the alert with cart_id,
        session_id and its own `seq`, by which a receiver knows one that comes twice."""
        found = [dict(row) for row in self._reader.rows(_PENDING)]
        waiting = [(alert.pop("place"), alert) for alert in found]
        return [(place, alert) for place, alert in waiting if place not in self._sent][:limit]

    def done(self, place: int) -> None:
        """The broker has acknowledged it; it goes from the disk with the next commit."""
        self._sent.add(place)
        self._store.queue([("DELETE FROM outbox WHERE seq = ?", [(place,)])])
