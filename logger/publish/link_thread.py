"""A thread with a connection of its own, for what must not stand in the way of the alerts."""

from __future__ import annotations

import threading
import time
from typing import Protocol

from logger.publish.broker_link import BrokerLink, LinkEvent
from logger.publish.topics import Message

LOOK_S = 0.05
FAREWELL_S = 0.5


class Talk(Protocol):
    """What is said on the connection; called by its thread only."""

    def heard(self, event: LinkEvent) -> None:
        """The connection is up or down, a message has been taken, one has come."""

    def look(self) -> None:
        """Some times a second while the connection is up."""

    def farewell(self) -> Message | None:
        """The last message before the program leaves."""


class LinkThread:
    """Runs a talk on a link until told to stop; nothing in the program waits for it."""

    def __init__(self, name: str, link: BrokerLink, talk: Talk):
        self.name, self._link, self._talk = name, link, talk
        self._stopping = threading.Event()
        self.turns = 0
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Say farewell, disconnect and end."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(FAREWELL_S + 1.5)

    def alive(self) -> bool:
        return self._thread.is_alive()

    def _run(self) -> None:
        while not self._stopping.wait(LOOK_S):
            self.turns += 1
            for event in self._link.tend():
                self._talk.heard(event)
            if self._link.up:
                self._talk.look()
        self._take_leave()
        self._link.close()

    def _take_leave(self) -> None:
        """Waits a moment for the broker to have the last message."""
        last = self._talk.farewell() if self._link.up else None
        mid = None if last is None else self._link.publish(last)
        until = time.monotonic() + FAREWELL_S
        while mid is not None and self._link.up and time.monotonic() < until:
            if any(event.kind == "acked" and event.mid == mid for event in self._link.tend()):
                return
            time.sleep(0.01)
