"""The cart on a broker: its state twice a second, its alerts each once however long the broker was away."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from typing import Protocol

from logger.publish.broker_link import BrokerLink, BrokerSettings, LinkEvent
from logger.publish.topics import Message, Topics

NOW_PERIOD_S = 0.5
CHANNEL_PERIOD_S = 1.0
OUTBOX_PERIOD_S = 0.1
LOOK_S = 0.05
SETTLE_S = 3.0
"""Alerts wait so long after a connection, so that those who listen have found the broker again too: it may have been
away, or have been switched on with the cart."""
MOST_ON_THE_WAY = 20
FAREWELL_S = 0.5


class Outbox(Protocol):
    """Alerts that have not reached the broker. `pending` gives (place, alert) with cart_id, session_id and seq in the
    alert, oldest first; `done` takes a place out for good. Both are called from one thread."""

    def pending(self, limit: int = 100) -> list[tuple[int, dict]]: ...

    def done(self, place: int) -> None: ...


class MqttPublisher:
    """A thread that publishes; nothing in the program waits for it, and it does not mind having no broker.

    now: the latest snapshot (`/api/now`). findings: those of the last closed session, None while there are none.
    announcements: said at every connection, such as a description for programs that look for devices.
    Raises ValueError when the settings name a file that cannot be read.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        cart_id: str,
        outbox: Outbox,
        now: Callable[[], Mapping],
        findings: Callable[[], Mapping | None],
        announcements: tuple[Message, ...] = (),
    ):
        self._topics = Topics(cart_id)
        self._link = BrokerLink(settings, f"tarebook-{cart_id}", self._topics.offline)
        self._announcements = announcements
        self._outbox, self._now, self._findings = outbox, now, findings
        self._on_the_way: dict[int, int] = {}
        self._due: dict[str, float] = {}
        self._sent_state: dict[str, str | bytes] = {}
        self._stopping = threading.Event()
        self.turns = 0
        self._thread = threading.Thread(target=self._run, name="mqtt", daemon=True)

    @property
    def status(self) -> str:
        """One line: connected to what and how, or why not."""
        return self._link.status

    @property
    def connected(self) -> bool:
        return self._link.up

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Say `offline`, disconnect and end."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(FAREWELL_S + 1.5)

    def alive(self) -> bool:
        return self._thread.is_alive()

    def _run(self) -> None:
        while not self._stopping.wait(LOOK_S):
            self.turns += 1
            self._look()
        if self._link.up:
            self._take_leave()
        self._link.close()

    def _look(self) -> None:
        for event in self._link.tend():
            self._heard(event)
        if not self._link.up:
            return
        if self._is_due("outbox", OUTBOX_PERIOD_S):
            self._send_alerts()
        if self._is_due("now", NOW_PERIOD_S):
            self._send(self._topics.now(self._now()))
        if self._is_due("channels", CHANNEL_PERIOD_S):
            self._send_state()

    def _heard(self, event: LinkEvent) -> None:
        if event.kind == "acked":
            place = self._on_the_way.pop(event.mid, None)
            if place is not None and event.ok:
                self._outbox.done(place)
        elif event.kind == "down":
            self._on_the_way.clear()
        else:
            self._connected()

    def _connected(self) -> None:
        """A broker may have forgotten what it retained: all of it is said again."""
        self._on_the_way.clear()
        self._sent_state.clear()
        self._due.clear()
        self._due["outbox"] = time.monotonic() + SETTLE_S
        for message in (*self._announcements, self._topics.online()):
            self._send(message)

    def _send_alerts(self) -> None:
        """Hand over the oldest alerts that are not on the way; each stays in the outbox until the broker has it."""
        waiting = set(self._on_the_way.values())
        for place, alert in self._outbox.pending(MOST_ON_THE_WAY):
            if place not in waiting:
                mid = self._send(self._topics.alert(alert))
                if mid is None:
                    return
                self._on_the_way[mid] = place

    def _send_state(self) -> None:
        now = self._now()
        for message in self._topics.channels(now):
            self._send(message)
        self._send_if_new(self._topics.session(now))
        findings = self._findings()
        if findings is not None:
            self._send_if_new(self._topics.findings(findings))

    def _send_if_new(self, message: Message) -> None:
        if self._sent_state.get(message.topic) != message.payload:
            self._sent_state[message.topic] = message.payload
            self._send(message)

    def _send(self, message: Message) -> int | None:
        return self._link.publish(message)

    def _take_leave(self) -> None:
        """Alerts that are on disk by now, then `offline`; waits a moment for the broker to have them."""
        self._send_alerts()
        farewell = self._send(self._topics.offline())
        until = time.monotonic() + FAREWELL_S
        while farewell is not None and self._link.up and time.monotonic() < until:
            for event in self._link.tend():
                self._heard(event)
                if event.mid == farewell:
                    farewell = None
            time.sleep(0.01)

    def _is_due(self, what: str, period_s: float) -> bool:
        now = time.monotonic()
        due = self._due.get(what, now)
        if now < due:
            return False
        self._due[what] = max(due + period_s, now)
        return True
