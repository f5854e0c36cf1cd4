"""What goes to the broker: topics and payloads made from a snapshot, a pure matter."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

STATUS_ONLINE, STATUS_OFFLINE = "online", "offline"
SESSION_KEYS = ("target_g", "placard_low_g", "placard_high_g", "delivered_g", "remaining_g")
ALERT_KEYS = ("cart_id", "session_id", "seq", "t_s", "code", "subject", "severity", "message")


@dataclass(frozen=True, slots=True)
class Message:
    """One message ready to be sent."""

    topic: str
    payload: str
    qos: int
    retain: bool


class Topics:
    """The topics of one cart."""

    def __init__(self, cart_id: str):
        self.root = f"tarebook/{cart_id}"
        self.status = f"{self.root}/status"

    def online(self) -> Message:
        return Message(self.status, STATUS_ONLINE, 1, True)

    def offline(self) -> Message:
        return Message(self.status, STATUS_OFFLINE, 1, True)

    def now(self, now: Mapping) -> Message:
        return Message(f"{self.root}/now", _json(now), 0, False)

    def channels(self, now: Mapping) -> list[Message]:
        """One retained message a channel; `t_utc` is the snapshot's, `age_s` how much older the reading is."""
        return [
            Message(f"{self.root}/channel/{name}", _json({**channel, "t_utc": now.get("t_utc")}), 0, True)
            for name, channel in (now.get("channels") or {}).items()
        ]

    def session(self, now: Mapping) -> Message:
        """Id, stage, target and the charge so far; `session_id` null when none is open."""
        charge = now.get("charge") or {}
        about = {key: now.get(key) for key in ("session_id", "refrigerant", "stage")}
        return Message(
            f"{self.root}/session", _json({**about, **{key: charge.get(key) for key in SESSION_KEYS}}), 1, True
        )

    def alert(self, alert: Mapping) -> Message:
        return Message(f"{self.root}/alert", _json({key: alert.get(key) for key in ALERT_KEYS}), 1, False)

    def findings(self, findings: Mapping) -> Message:
        return Message(f"{self.root}/findings", _json(findings), 1, True)


def _json(value: object) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
