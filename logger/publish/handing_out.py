"""Closed sessions handed out over the broker to who gathers them: head, then chunks, as often as they are asked for.

Who gathers asks; the cart only answers, a few chunks at a time. So a transfer is resumed by asking for what is missing,
the broker keeps nothing, and a slow receiver slows nobody but himself.
"""

from __future__ import annotations

import hashlib
import json
import logging
import time
import zlib
from collections import deque
from collections.abc import Callable, Mapping
from typing import Protocol

from logger.publish.broker_link import BrokerLink, BrokerSettings, LinkEvent
from logger.publish.link_thread import LinkThread
from logger.publish.topics import Message, Topics

log = logging.getLogger(__name__)

CHUNK_BYTES = 64 << 10
MOST_CHUNKS_ASKED = 32
MOST_ASKED_WAITING = 64
MOST_ID_CHARACTERS = 1000
"""So that its topic, percent-encoded, stays within what MQTT allows."""
LIST_PERIOD_S = 1.0
MOST_ON_THE_WAY = 8


class Shelf(Protocol):
    """What there is to hand out."""

    def versions(self) -> Mapping[str, str]:
        """Closed sessions of this cart: id → a text that changes when what is kept of it does."""

    def file(self, session_id: str) -> bytes:
        """The session as a file; the same as long as its version is. Takes a while. Raises ValueError, one line."""


def head_of(data: bytes) -> dict:
    """What a receiver must know to ask for the chunks and to check them."""
    return {
        "bytes": len(data),
        "chunk_bytes": CHUNK_BYTES,
        "sha256": hashlib.sha256(data).hexdigest(),
        "crc32": [zlib.crc32(data[start : start + CHUNK_BYTES]) for start in range(0, len(data), CHUNK_BYTES)],
    }


def read_ask(payload: bytes) -> tuple[str, list[int]] | None:
    """The session and chunks asked for, no chunks for the head; None for what is no such thing."""
    try:
        ask = json.loads(payload)
        chunks = ask.get("chunks", [])
        if not all(type(number) is int and number >= 0 for number in chunks):
            return None
        session_id = str(ask["session_id"])
        session_id.encode()
        return (session_id, chunks[:MOST_CHUNKS_ASKED]) if len(session_id) <= MOST_ID_CHARACTERS else None
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return None


class HandingOut:
    """The cart's side of the conversation. Of files only the one asked for last is kept in memory."""

    def __init__(self, topics: Topics, shelf: Shelf, publish: Callable[[Message], int | None]):
        self._topics, self._shelf, self._publish = topics, shelf, publish
        self._asked: deque[tuple[str, list[int]]] = deque(maxlen=MOST_ASKED_WAITING)
        self._to_send: deque[Message] = deque()
        self._on_the_way: set[int] = set()
        self._listed: Mapping[str, str] | None = None
        self._list_due_s = 0.0
        self._held: tuple[str, str, bytes] | None = None

    def heard(self, event: LinkEvent) -> None:
        if event.kind == "acked":
            self._on_the_way.discard(event.mid)
        elif event.kind == "message":
            ask = read_ask(event.payload)
            if ask is not None and ask not in self._asked:
                self._asked.append(ask)
        else:
            self._listed, self._list_due_s = None, 0.0
            self._asked.clear()
            self._to_send.clear()
            self._on_the_way.clear()

    def look(self) -> None:
        if time.monotonic() >= self._list_due_s:
            self._list()
        if not self._to_send and self._asked:
            self._answer(*self._asked.popleft())
        while self._to_send and len(self._on_the_way) < MOST_ON_THE_WAY:
            mid = self._publish(self._to_send[0])
            if mid is None:
                return
            self._to_send.popleft()
            self._on_the_way.add(mid)

    def farewell(self) -> Message | None:
        return None

    def _list(self) -> None:
        """Say what there is when it is not what was said last."""
        self._list_due_s = time.monotonic() + LIST_PERIOD_S
        versions = self._shelf.versions()
        if versions != self._listed and self._publish(self._topics.recordings(versions)) is not None:
            self._listed = versions

    def _answer(self, session_id: str, chunks: list[int]) -> None:
        try:
            data = self._file(session_id)
        except ValueError as error:
            log.warning("session %r was asked for: %s", session_id, error)
            self._to_send.append(self._topics.head(session_id, {"why": str(error)}))
            return
        if not chunks:
            version = self._held[1] if self._held else ""
            self._to_send.append(self._topics.head(session_id, {"version": version, **head_of(data)}))
        for number in chunks:
            part = data[number * CHUNK_BYTES : (number + 1) * CHUNK_BYTES]
            if part:
                self._to_send.append(self._topics.chunk(session_id, number, part))

    def _file(self, session_id: str) -> bytes:
        version = self._shelf.versions().get(session_id)
        if version is None:
            raise ValueError("no closed session of this cart: see its list of recordings")
        if self._held is None or self._held[:2] != (session_id, version):
            self._held = (session_id, version, self._shelf.file(session_id))
        return self._held[2]


def handing_out(settings: BrokerSettings, cart_id: str, shelf: Shelf) -> LinkThread:
    """The thread that hands out. Raises ValueError as BrokerLink does."""
    topics = Topics(cart_id)
    link = BrokerLink(settings, f"tarebook-{cart_id}-recordings", None, (topics.of("ask"),))
    return LinkThread("handing out", link, HandingOut(topics, shelf, link.publish))
