"""Reading the store while it is written, from any thread; never in the writer's way."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from firmware_bridge.blocks import Block
from logger.measure.marks import Mark
from logger.record.decoding import Channels, channels_of, rows_of
from logger.record.errors import StoreError
from logger.record.opening import connect
from logger.record.recorded import Recording
from logger.record.rollup import Spans, join, of_rows, thin
from logger.record.windows import finest, seconds_between

_DECISION = "(SELECT decision FROM decision WHERE decision.session = session.id ORDER BY id DESC LIMIT 1)"
_ALERTS = "(SELECT count(*) FROM alert WHERE alert.session = session.id)"
_LAST = "(SELECT coalesce(max(last_t_s), 0) FROM chunk WHERE chunk.session = session.id)"
_SUMMARY = f"""
SELECT session_id, cart_id, started_utc, open, imported, refrigerant, target_g, delivered_g, uncertainty_g,
    within_placard, CASE open WHEN 1 THEN {_LAST} ELSE duration_s END AS duration_s, vehicle, {_ALERTS} AS alerts,
    {_DECISION} AS decision
FROM session"""  # noqa: S608  # nosec B608 - of the constants above
_NEWEST = "ORDER BY coalesce(started_utc, '9999') DESC, id DESC"
_FLAGS = ("open", "imported", "within_placard")


class StoreReader:
    """A read-only view of the store at `path`. Every method raises StoreError; unknown sessions are one."""

    def __init__(self, path: str | Path):
        self.path = Path(path)
        self._local = threading.local()

    def sessions(self, limit: int | None = None, search: str = "") -> list[dict]:
        """Newest first, those that hold every word of `search`: session_id, cart_id, started_utc, open, imported,
        refrigerant, target_g, delivered_g, uncertainty_g, within_placard, duration_s, vehicle, alerts (how many),
        decision ("signed", "returned" or None)."""
        words = [f"%{_literal(word)}%" for word in search.casefold().split()]
        where = "WHERE " + " AND ".join(["words LIKE ? ESCAPE '\\'"] * len(words)) if words else ""
        rows = self.rows(f"{_SUMMARY} {where} {_NEWEST} LIMIT ?", *words, -1 if limit is None else limit)
        return [_summary(row) for row in rows]

    def session(self, session_id: str) -> dict:
        """The summary, with `setup` (the keys of session.json), `clock`, `channels` (name → unit, rate_hz, points),
        `decisions` and `attachments` (without their data)."""
        number = self._number(session_id)
        found = _summary(self.rows(f"{_SUMMARY} WHERE id = ?", number)[0])
        row = self.rows("SELECT setup, clock FROM session WHERE id = ?", number)[0]
        channels = self.rows("SELECT * FROM channel WHERE session = ? ORDER BY number", number)
        decisions = "SELECT decision, reviewer, note, at_utc FROM decision WHERE session = ? ORDER BY id"
        attachments = "SELECT id, kind, media_type, t_s FROM attachment WHERE session = ? ORDER BY id"
        return {
            **found,
            "setup": json.loads(row["setup"]),
            "clock": json.loads(row["clock"]),
            "channels": {c["name"]: _channel(c) for c in channels},
            "decisions": [dict(d) for d in self.rows(decisions, number)],
            "attachments": [dict(a) for a in self.rows(attachments, number)],
        }

    def attachment(self, session_id: str, attachment_id: int) -> tuple[str, bytes]:
        """Media type and bytes."""
        row = self.rows(
            "SELECT media_type, data FROM attachment WHERE session = ? AND id = ?",
            self._number(session_id),
            attachment_id,
        )
        if not row:
            raise StoreError(f"session {session_id} has no attachment {attachment_id}: see its list of attachments")
        return row[0]["media_type"], row[0]["data"]

    def batches(self, session_id: str, size: int | None = None) -> Iterator[list[Block] | Mark]:
        """As `Recording.batches`, codes included."""
        return self.recording(session_id).batches(size)

    def recording(self, session_id: str) -> Recording:
        """The whole session as it was sensed."""
        with self._snapshot() as connection:
            number = self._number(session_id)
            setup = json.loads(self.rows("SELECT setup FROM session WHERE id = ?", number)[0]["setup"])
            chunks = self.rows("SELECT data FROM chunk WHERE session = ? ORDER BY first_t_s, id", number)
            return Recording(setup, rows_of(chunks, channels_of(connection, number)), self.marks(session_id))

    def marks(self, session_id: str) -> list[Mark]:
        """In order."""
        rows = self.rows("SELECT * FROM mark WHERE session = ? ORDER BY t_s, id", self._number(session_id))
        return [Mark(row["t_s"], row["mark"], json.loads(row["detail"])) for row in rows]

    def alerts(self, session_id: str) -> list[dict]:
        """In order: seq, t_s, code, subject, severity, message, state, acknowledged_t_s, cleared_t_s."""
        rows = self.rows("SELECT * FROM alert WHERE session = ? ORDER BY seq", self._number(session_id))
        return [{key: row[key] for key in row.keys() if key != "session"} for row in rows]  # noqa: SIM118

    def findings(self, session_id: str) -> dict | None:
        """As they were last set; None while there are none."""
        row = self.rows("SELECT findings FROM session WHERE id = ?", self._number(session_id))[0]
        return json.loads(row["findings"]) if row["findings"] else None

    def all_findings(self, limit: int | None = None) -> Iterator[tuple[dict, dict]]:
        """Summary and findings of every session that has findings, newest first."""
        summaries = {summary["session_id"]: summary for summary in self.sessions()}
        sql = f"SELECT session_id, findings FROM session WHERE findings IS NOT NULL {_NEWEST} LIMIT ?"  # noqa: S608  # nosec B608
        for row in self.rows(sql, -1 if limit is None else limit):
            yield summaries[row["session_id"]], json.loads(row["findings"])

    def value(self, key: str, default: object = None) -> object:
        """A setting as the writer set it."""
        rows = self.rows("SELECT value FROM setting WHERE key = ?", key)
        return json.loads(rows[0]["value"]) if rows else default

    def readings(
        self, session_id: str, channel: str, from_s: float | None = None, to_s: float | None = None, points: int = 1000
    ) -> dict[str, list[float]]:
        """At most `points` stretches of the window as {"t_s", "low", "high", "mean"}; every peak lies within one of
        them. Invalid readings are left out."""
        if points < 1:
            raise StoreError(f"points is {points}: ask for 1 or more")
        with self._snapshot() as connection:
            number = self._number(session_id)
            channels = channels_of(connection, number)
            window = self._window(number, from_s, to_s)
            if channel in channels.names:
                spans = self._spans(number, channels, channel, window, points)
        if channel not in channels.names:
            raise StoreError(f"session {session_id} has no channel {channel}: it has {', '.join(channels.names)}")
        thinned = thin(spans, *window, points)
        return {name: getattr(thinned, name).tolist() for name in ("t_s", "low", "high", "mean")}

    def _window(self, number: int, from_s: float | None, to_s: float | None) -> tuple[float, float]:
        last_s = self.rows("SELECT coalesce(max(last_t_s), 0) AS t FROM chunk WHERE session = ?", number)[0]["t"]
        return (max(0.0, from_s or 0.0), last_s if to_s is None else min(to_s, last_s))

    def _spans(self, number: int, channels: Channels, channel: str, window: tuple[float, float], points: int) -> Spans:
        """The window's readings, whole seconds of them where they are too many to look at one by one."""
        connection, only = self._connection(), channels.names.index(channel)
        if window[1] - window[0] <= max(points, 60):
            return of_rows(finest(connection, number, channels, only, window))
        return join(seconds_between(connection, number, channels, only, window))

    @contextmanager
    def _snapshot(self) -> Iterator[sqlite3.Connection]:
        """Several queries that see one state of the store, whatever the writer does between them."""
        connection = self._connection()
        connection.execute("BEGIN")
        try:
            yield connection
        finally:
            connection.execute("COMMIT")

    def _number(self, session_id: str) -> int:
        rows = self.rows("SELECT id FROM session WHERE session_id = ?", session_id)
        if not rows:
            raise StoreError(f"session {session_id} is not in the store: see `tarebook sessions`")
        return rows[0]["id"]

    def rows(self, sql: str, *values: object) -> list[sqlite3.Row]:
        """The rows of a query."""
        try:
            return self._connection().execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise StoreError(f"{self.path}: {error}: check that it is a store of this program") from None

    def _connection(self) -> sqlite3.Connection:
        """This thread's own."""
        if not hasattr(self._local, "connection"):
            if not self.path.exists():
                raise StoreError(f"{self.path}: there is no store yet: record or import a session first")
            try:
                self._local.connection = connect(self.path, read_only=True)
            except sqlite3.Error as error:
                raise StoreError(f"{self.path}: {error}: check its permissions") from None
        return self._local.connection


def _summary(row: sqlite3.Row) -> dict:
    found = dict(row)
    for key in _FLAGS:
        found[key] = None if found[key] is None else bool(found[key])
    found["vehicle"] = json.loads(found["vehicle"])
    return found


def _channel(row: sqlite3.Row) -> dict:
    points = json.loads(row["points"]) if row["points"] else None
    return {"unit": row["unit"], "rate_hz": row["rate_hz"], "points": points}


def _literal(word: str) -> str:
    """So that % and _ in a search stand for themselves."""
    return word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
