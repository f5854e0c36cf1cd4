"""One connection to a broker after another: MQTT 5, or 3.1.1 where that is what the broker speaks.

Each connection has a client of its own, so that nothing waits in a library's memory: what was not acknowledged when a
connection ended is sent again by whoever keeps it. The library's callbacks only put into a queue.
"""

from __future__ import annotations

import logging
import queue
import socket
import ssl
import stat
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from logger.publish.topics import Message

log = logging.getLogger(__name__)

KEEPALIVE_S = 15
ANSWER_S = 4.0
LEAST_WAIT_S, LONGEST_WAIT_S = 0.5, 10.0
UNSUPPORTED_VERSION = 0x84


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """Where the broker is and how to enter. `password_file` holds the password alone; `ca_file` None: the system's."""

    host: str
    port: int = 1883
    username: str | None = None
    password_file: str | None = None
    tls: bool = False
    ca_file: str | None = None

    def password(self) -> str | None:
        """Raises ValueError, one line, when the file cannot be read."""
        if self.password_file is None:
            return None
        try:
            if Path(self.password_file).stat().st_mode & stat.S_IRWXO:
                log.warning("%s: everybody on this machine can read the password: chmod o= it", self.password_file)
            return Path(self.password_file).read_text("utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            why = getattr(error, "strerror", None) or error
            raise ValueError(
                f"{self.password_file}: the broker's password cannot be read from it: {why}; mend it, or password_file"
            ) from None

    def tls_context(self) -> ssl.SSLContext | None:
        """Raises ValueError, one line, when the CA file is none."""
        if not self.tls:
            return None
        try:
            return ssl.create_default_context(cafile=self.ca_file)
        except OSError as error:
            raise ValueError(f"{self.ca_file}: no certificates can be read from it: {error}") from None


@dataclass(frozen=True, slots=True)
class LinkEvent:
    """`up`, `down`; `acked`: the broker has taken message `mid` (`ok`) or refused it; `message`: one has come."""

    kind: Literal["up", "down", "acked", "message"]
    mid: int = 0
    ok: bool = True
    topic: str = ""
    payload: bytes = b""


@dataclass(slots=True)
class _Attempt:
    """One client's life; its callbacks run in the library's thread and touch only its queue."""

    client: mqtt.Client
    protocol: MQTTProtocolVersion
    said: queue.SimpleQueue = field(default_factory=queue.SimpleQueue)
    waiting_since: float | None = None


class BrokerLink:
    """Used by one thread, which calls `tend` some times a second. `status` may be read from others.

    will: makes, anew for each connection, what the broker publishes when this program vanishes. listen_to: topics to
    subscribe to. Raises ValueError when password or certificates cannot be read.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        client_id: str,
        will: Callable[[], Message] | None = None,
        listen_to: tuple[str, ...] = (),
    ):
        self._settings, self._client_id, self._will, self._listen_to = settings, client_id, will, listen_to
        self._password, self._tls = settings.password(), settings.tls_context()
        self._protocol = MQTTProtocolVersion.MQTTv5
        self._attempt: _Attempt | None = None
        self._next_try, self._wait_s = 0.0, LEAST_WAIT_S
        self.up = False
        self.status = "not connected yet"

    def tend(self) -> list[LinkEvent]:
        """Connect when there is nothing else to do, and say what has happened since the last call."""
        if self._attempt is None and time.monotonic() >= self._next_try:
            self._begin()
        events: list[LinkEvent] = []
        while self._attempt is not None and not self._attempt.said.empty():
            events += self._hear(*self._attempt.said.get())
        if self._attempt is not None and not self.up:
            self._doubt()
        return events

    def publish(self, message: Message) -> int | None:
        """Hand one message over; its number, by which it is acknowledged, or None when there is no connection."""
        if not self.up or self._attempt is None:
            return None
        info = self._attempt.client.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)
        return info.mid if info.rc in (mqtt.MQTT_ERR_SUCCESS, mqtt.MQTT_ERR_NO_CONN) else None

    def close(self) -> None:
        """Disconnect in good order; the will is then not published."""
        if self._attempt is not None:
            self._attempt.client.disconnect()
        self._end("closed")

    def _begin(self) -> None:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=self._client_id, protocol=self._protocol)
        attempt = _Attempt(client, self._protocol)
        client.on_connect = lambda _c, _u, _f, code, _p: attempt.said.put(("answer", code))
        client.on_connect_fail = lambda _c, _u: attempt.said.put(("unreachable", None))
        client.on_disconnect = lambda _c, _u, _f, code, _p: attempt.said.put(("lost", code))
        client.on_publish = lambda _c, _u, mid, code, _p: attempt.said.put(("acked", (mid, not code.is_failure)))
        client.on_message = lambda _c, _u, m: attempt.said.put(("message", (m.topic, m.payload)))
        client.on_socket_open = lambda _c, _u, sock: _opened(attempt, sock)
        if self._settings.username is not None:
            client.username_pw_set(self._settings.username, self._password)
        if self._tls is not None:
            client.tls_set_context(self._tls)
        if self._will is not None:
            will = self._will()
            client.will_set(will.topic, will.payload, qos=will.qos, retain=will.retain)
        client.reconnect_delay_set(1, 4)
        client.connect_async(self._settings.host, self._settings.port, KEEPALIVE_S)
        client.loop_start()
        self._attempt = attempt

    def _hear(self, what: str, detail: object) -> list[LinkEvent]:
        if what == "opened":
            self._attempt.waiting_since = time.monotonic()
        elif what == "unreachable":
            self.status = f"{self._place} does not answer"
        elif what == "acked":
            return [LinkEvent("acked", *detail)]
        elif what == "message":
            return [LinkEvent("message", topic=detail[0], payload=detail[1])]
        elif what == "answer":
            return self._answered(detail)
        elif what == "lost":
            return self._lost(detail)
        return []

    def _answered(self, code: mqtt.ReasonCode) -> list[LinkEvent]:
        if not code.is_failure:
            self.up, self._wait_s = True, LEAST_WAIT_S
            self.status = f"connected to {self._place}, MQTT {'5' if self._protocol == 5 else '3.1.1'}"
            if self._listen_to:
                self._attempt.client.subscribe([(topic, 1) for topic in self._listen_to])
            return [LinkEvent("up")]
        refused_version = code.value == UNSUPPORTED_VERSION
        if refused_version:
            self._exchange_protocol()
        self._end(f"{self._place} refuses: {code}", at_once=refused_version)
        return []

    def _lost(self, code: mqtt.ReasonCode) -> list[LinkEvent]:
        was_up = self.up
        if not was_up:
            self._exchange_protocol()
        self._end(f"{self._place} is gone: {code}")
        return [LinkEvent("down")] if was_up else []

    def _doubt(self) -> None:
        """A broker that took the connection and then says nothing may not understand the protocol's version."""
        since = self._attempt.waiting_since
        if since is not None and time.monotonic() - since > ANSWER_S:
            self._exchange_protocol()
            self._end(f"{self._place} takes the connection and says nothing", at_once=True)

    def _exchange_protocol(self) -> None:
        five = self._protocol == MQTTProtocolVersion.MQTTv5
        self._protocol = MQTTProtocolVersion.MQTTv311 if five else MQTTProtocolVersion.MQTTv5

    def _end(self, status: str, at_once: bool = False) -> None:
        attempt, self._attempt = self._attempt, None
        self.up, self.status = False, status
        if attempt is not None:
            attempt.client.loop_stop()
        self._next_try = time.monotonic() + (0.0 if at_once else self._wait_s)
        self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)

    @property
    def _place(self) -> str:
        return f"{self._settings.host}:{self._settings.port}"


def _opened(attempt: _Attempt, sock: socket.socket) -> None:
    """Without this the first small messages of a connection wait for each other's acknowledgement."""
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    attempt.said.put(("opened", None))
