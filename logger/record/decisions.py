"""What a reviewer decided about a session, and which sessions may therefore be let go of."""

from __future__ import annotations

from datetime import datetime, timedelta

from logger.record.errors import StoreError
from logger.record.reader import StoreReader
from logger.record.store import Store

MOST_DAYS = 36_500
_INSERT = """
INSERT INTO decision (session, decision, reviewer, note, at_utc)
SELECT id, ?, ?, ?, ? FROM session WHERE session_id = ?"""
_OVER = """
SELECT session_id, started_utc FROM session
WHERE open = 0 AND started_utc IS NOT NULL AND id NOT IN (SELECT session FROM outbox)
    AND (SELECT decision FROM decision WHERE session = session.id ORDER BY decision.id DESC LIMIT 1) = 'signed'
ORDER BY id"""


def decide(
    store: Store, session_id: str, decision: str, reviewer: str, note: str = "", at_utc: str | None = None
) -> None:
    """Sign a closed session off ("signed") or give it back with a note ("returned"). Raises StoreError."""
    if decision not in ("signed", "returned"):
        raise StoreError(f"session {session_id}: decision {decision!r} is not known: write signed or returned")
    if not reviewer.strip():
        raise StoreError(f"session {session_id}: write who decides")
    if decision == "returned" and not note.strip():
        raise StoreError(f"session {session_id}: write in a note why it is returned")
    if store.reader().session(session_id)["open"]:
        raise StoreError(f"session {session_id} is open: close it before it is reviewed")
    store.run([(_INSERT, [(decision, reviewer, note, at_utc, session_id)])])


def disposable(reader: StoreReader, keep_days: float, now_utc: str) -> list[str]:
    """Sessions older than `keep_days` that are signed off: never one that is open, unreviewed, returned, undated, or
    has an alert still to be sent."""
    before = datetime.fromisoformat(now_utc) - timedelta(days=keep_days)
    rows = reader.rows(_OVER)
    return [row["session_id"] for row in rows if datetime.fromisoformat(row["started_utc"]) < before]


def prune(store: Store, keep_days: float, now_utc: str) -> list[str]:
    """Delete those, each whole or not at all; which they were. The container ledger keeps its movements."""
    if not 1 <= keep_days <= MOST_DAYS:
        raise StoreError(f"{keep_days:g} days: keep at least one day, and {MOST_DAYS} at most")
    found = disposable(store.reader(), keep_days, now_utc)
    for session_id in found:
        store.run([("DELETE FROM session WHERE session_id = ?", [(session_id,)])])
        store.forget(session_id)
    return found
