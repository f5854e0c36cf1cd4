"""The statements by which the store's writer adds to the small tables."""

from __future__ import annotations

import json
from collections.abc import Mapping

from logger.record.errors import StoreError
from logger.record.json_text import dump_json
from logger.record.session_rows import summary_of_findings, summary_of_setup
from logger.record.tail import Statement

ADD_MARK = "INSERT INTO mark (session, t_s, mark, detail) VALUES (?, ?, ?, ?)"
ADD_OUTBOX = """
INSERT INTO outbox (session, alert_seq) SELECT ?, ?
WHERE NOT EXISTS (SELECT 1 FROM alert WHERE session = ? AND seq = ?)"""
ADD_ALERT = """
INSERT INTO alert (session, seq, t_s, code, subject, severity, message, state, acknowledged_t_s, cleared_t_s)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET severity = excluded.severity, message = excluded.message, state = excluded.state,
    acknowledged_t_s = coalesce(excluded.acknowledged_t_s, acknowledged_t_s), cleared_t_s = excluded.cleared_t_s"""
SET_FINDINGS = """
UPDATE session SET findings = ?, delivered_g = ?, uncertainty_g = ?, within_placard = ?, duration_s = max(duration_s, ?)
WHERE id = ?"""
SET_VALUE = "INSERT INTO setting VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value"

_INSERT_SESSION = """
INSERT INTO session (id, session_id, cart_id, open, imported, setup, clock, digest,
    started_utc, refrigerant, target_g, vehicle, words)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"""
_INSERT_CHANNEL = "INSERT INTO channel (session, number, name, unit, rate_hz, points) VALUES (?, ?, ?, ?, ?, ?)"


def insert_session(
    number: int, document: Mapping, points: Mapping[int, list], clock_origin: Mapping, digest: str | None = None
) -> list[Statement]:
    """A session with its channels: open where it is recorded here, closed where it is imported and has a digest."""
    head = (number, document["session_id"], document["cart_id"], int(digest is None), int(digest is not None))
    row = (*head, dump_json(document), dump_json(clock_origin), digest, *summary_of_setup(document))
    channels = [
        (number, k, name, channel["unit"], channel["rate_hz"], json.dumps(points[k]) if k in points else None)
        for k, (name, channel) in enumerate(document["channels"].items())
    ]
    return [(_INSERT_SESSION, [row]), (_INSERT_CHANNEL, channels)]


def alert_row(number: int, alert: Mapping) -> tuple:
    """An alert's row for `ADD_ALERT`."""
    required = [alert[key] for key in ("seq", "t_s", "code")]
    texts = [alert.get("subject", ""), alert["severity"], alert["message"], alert["state"]]
    return (number, *required, *texts, alert.get("acknowledged_t_s"), alert.get("cleared_t_s"))


def findings_row(number: int, findings: Mapping) -> tuple:
    """A session's row for `SET_FINDINGS`."""
    return (as_json(findings), *summary_of_findings(findings), number)


def as_json(value: object) -> str:
    """JSON for a cell. Raises StoreError for what JSON has not."""
    try:
        return dump_json(value)
    except (ValueError, TypeError) as error:
        raise StoreError(f"this cannot be kept as JSON ({error}): write null where there is no number") from None
