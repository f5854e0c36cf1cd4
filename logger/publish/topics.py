"""What goes to the broker: topics and payloads made from a snapshot, a pure matter.

KINDS is the one table of them; the description for other programs is drawn from it too.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import quote, unquote

STATUS_ONLINE, STATUS_OFFLINE = "online", "offline"
SESSION_KEYS = ("target_g", "placard_low_g", "placard_high_g", "delivered_g", "remaining_g")
ALERT_KEYS = ("cart_id", "session_id", "seq", "t_s", "code", "subject", "severity", "message")


@dataclass(frozen=True, slots=True)
class Message:
    """One message ready to be sent."""

    topic: str
    payload: str | bytes
    qos: int
    retain: bool


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of message. address: below `tarebook/{cart}`, with parameters in braces. schema: the name of its
    payload's shape, "" for plain bytes. asked: others send it and the cart takes it."""

    address: str
    qos: int
    retain: bool
    schema: str
    summary: str
    asked: bool = False


KINDS = {
    "status": Kind("status", 1, True, "Status", "online, or offline, which the broker says for a cart that vanished"),
    "now": Kind("now", 0, False, "Now", "The latest of everything, twice a second"),
    "channel": Kind("channel/{channel}", 0, True, "ChannelReading", "One channel, once a second"),
    "session": Kind("session", 1, True, "SessionState", "Stage, target, charge so far; when it changes"),
    "alert": Kind("alert", 1, False, "AlertMessage", "An alert, once by `seq`, later where the broker was away"),
    "findings": Kind("findings", 1, True, "Findings", "What the session that was closed last came to"),
    "recordings": Kind("recordings", 1, True, "Recordings", "The closed sessions that the cart hands out when asked"),
    "ask": Kind("recordings/ask", 1, False, "Ask", "Asks for a session's head, or for some of its chunks", asked=True),
    "head": Kind("recording/{session}", 1, False, "Head", "How long a session's file is, and its checksums"),
    "chunk": Kind("recording/{session}/{number}", 1, False, "", "One chunk of a session's file, from number 0 on"),
}


class Topics:
    """The topics of one cart."""

    def __init__(self, cart_id: str):
        self.cart_id = cart_id
        self.root = f"tarebook/{cart_id}"
        self.status = self.of("status")

    def of(self, kind: str, **parts: object) -> str:
        """The topic of one kind of message; a part that would break a topic is percent-encoded."""
        return f"{self.root}/{KINDS[kind].address.format(**{k: in_topic(str(v)) for k, v in parts.items()})}"

    def online(self) -> Message:
        return self._message("status", STATUS_ONLINE)

    def offline(self) -> Message:
        return self._message("status", STATUS_OFFLINE)

    def now(self, now: Mapping) -> Message:
        return self._message("now", now)

    def channels(self, now: Mapping) -> list[Message]:
        """One retained message a channel; `t_utc` is the snapshot's, `age_s` how much older the reading is."""
        return [
            self._message("channel", {**channel, "t_utc": now.get("t_utc")}, channel=name)
            for name, channel in (now.get("channels") or {}).items()
        ]

    def session(self, now: Mapping) -> Message:
        """Id, stage, target and the charge so far; `session_id` null when none is open."""
        charge = now.get("charge") or {}
        about = {key: now.get(key) for key in ("session_id", "refrigerant", "stage")}
        return self._message("session", {**about, **{key: charge.get(key) for key in SESSION_KEYS}})

    def alert(self, alert: Mapping) -> Message:
        return self._message("alert", {key: alert.get(key) for key in ALERT_KEYS})

    def findings(self, findings: Mapping) -> Message:
        return self._message("findings", findings)

    def recordings(self, versions: Mapping[str, str]) -> Message:
        """versions: session id → a text that changes when the session does."""
        return self._message("recordings", {"cart_id": self.cart_id, "sessions": dict(versions)})

    def ask(self, session_id: str, chunks: Sequence[int] = ()) -> Message:
        """Asks for the head, or for these chunks."""
        return self._message("ask", {"session_id": session_id, **({"chunks": list(chunks)} if chunks else {})})

    def head(self, session_id: str, head: Mapping) -> Message:
        return self._message("head", {"session_id": session_id, **head}, session=session_id)

    def chunk(self, session_id: str, number: int, data: bytes) -> Message:
        return self._message("chunk", data, session=session_id, number=number)

    def _message(self, kind: str, content: object, **parts: object) -> Message:
        payload = content if isinstance(content, (str, bytes)) else _json(content)
        return Message(self.of(kind, **parts), payload, KINDS[kind].qos, KINDS[kind].retain)


def in_topic(text: str) -> str:
    """The text as one level of a topic: whatever means something there is percent-encoded."""
    return quote(text, safe=" @:,;=~()[]")


def from_topic(level: str) -> str:
    """The text that `in_topic` put there."""
    return unquote(level)


def _json(value: object) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
