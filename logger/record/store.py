"""The store's one writer. What it is told stays in memory until `commit`, and then is on disk or still in memory."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from firmware_bridge.blocks import Block
from logger.measure.marks import Mark
from logger.record.decoding import calibrations_of, channels_of, rows_of
from logger.record.errors import StorageFullError, StoreError, StoreUnwritableError
from logger.record.opening import UNWRITABLE, connect, lock, prepare
from logger.record.reader import StoreReader
from logger.record.session_rows import describe, summary_of_setup
from logger.record.tail import Statement, Tail
from logger.record.writes import (
    ADD_ALERT,
    ADD_MARK,
    ADD_OUTBOX,
    SET_FINDINGS,
    SET_VALUE,
    alert_row,
    as_json,
    findings_row,
    insert_session,
)

__all__ = ["StorageFullError", "Store", "StoreError", "StoreReader"]


class Store:
    """Opened by one process at a time; its methods may be called from any thread. Every method raises StoreError.

    found: how its check at the opening went, in words.
    """

    def __init__(self, path: Path, handle, connection: sqlite3.Connection, found: str):
        self.path, self.found = path, found
        self._handle = handle
        self._connection = connection
        self._lock = threading.RLock()
        self._waiting: list[Statement] = []
        self._queued: deque[Statement] = deque()
        self._numbers: dict[str, int] = {}
        self._tail: Tail | None = None
        self._open_id: str | None = None
        self._last_number = self._scalar("SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'session'")
        self._resume()

    @classmethod
    def open(cls, path: str | Path) -> Store:
        """The store at `path`: made if there is none, checked, brought to this version, held against other writers."""
        path = Path(path)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle = lock(path)
        except OSError as error:
            kind = StoreUnwritableError if error.errno in UNWRITABLE else StoreError
            raise kind(f"{path}: {error.strerror or error}: choose a folder that can be written") from None
        try:
            found = prepare(path)
            return cls(path, handle, connect(path), found)
        except BaseException:
            handle.close()
            raise

    def close(self) -> None:
        """Write what waits and let go of the file. An open session stays open, to be resumed."""
        with self._lock:
            try:
                self.commit()
            finally:
                self._connection.close()
                self._handle.close()

    def reader(self) -> StoreReader:
        """A reader of this store, for any thread."""
        return StoreReader(self.path)

    def create_session(
        self, setup: Mapping, channels: Mapping[str, Mapping], started_utc: str | None, clock_origin: Mapping
    ) -> str:
        """Begin a session and give its id (the setup's, or one made of cart and count).

        setup: the keys of a recording's session.json. channels: name → {"unit", "rate_hz", "points": [[code, value], …]
        or None}. clock_origin: anything JSON that says where session time comes from. A full disk does not stop it.
        """
        with self._lock:
            if self._open_id is not None:
                raise StoreError(f"session {self._open_id} is open: close it before another is opened")
            number = self._last_number + 1
            document = describe(setup, channels, started_utc, number)
            session_id = document["session_id"]
            self._refuse_known(session_id)
            points = {k: c["points"] for k, c in enumerate(channels.values()) if c.get("points")}
            self._tail = Tail(number, list(channels), calibrations_of(points))
            self._waiting += insert_session(number, document, points, clock_origin)
            self._numbers[session_id], self._last_number, self._open_id = number, number, session_id
            self._commit_or_keep()
            return session_id

    def append(self, session_id: str, blocks: Sequence[Block]) -> int:
        """Take the blocks of one look (session time, never before what was taken); how many readings they are."""
        with self._lock:
            return self._open_tail(session_id).add(blocks)

    def add_mark(self, session_id: str, mark: Mark) -> None:
        """Keep a mark."""
        self._later(ADD_MARK, (self._number(session_id), mark.t_s, mark.mark, as_json(mark.detail)))

    def add_alert(self, session_id: str, alert: Mapping) -> None:
        """Keep an alert, or what has become of it (the same `seq`); a new one is put into the outbox with it."""
        with self._lock:
            number = self._number(session_id)
            row = alert_row(number, alert)
            self._later(ADD_OUTBOX, (number, alert["seq"], number, alert["seq"]))
            self._later(ADD_ALERT, row)

    def set_findings(self, session_id: str, findings: Mapping) -> None:
        """Keep what the session has come to, in place of what it had come to."""
        self._later(SET_FINDINGS, findings_row(self._number(session_id), findings))

    def update_session(self, session_id: str, changes: Mapping) -> None:
        """Change keys of the session's description (vehicle, technician, notes, …); None takes a key out."""
        with self._lock:
            self.commit()
            number = self._number(session_id)
            document = json.loads(self._scalar("SELECT setup FROM session WHERE id = ?", number))
            fixed = {"format", "version", "session_id", "cart_id", "channels"} & set(changes)
            if fixed:
                raise StoreError(f"session {session_id}: {sorted(fixed)[0]} cannot be changed: leave it out")
            document = {k: v for k, v in {**document, **changes}.items() if v is not None or k == "started_utc"}
            self._later(
                "UPDATE session SET setup = ?, started_utc = ?, refrigerant = ?, target_g = ?, vehicle = ?, words = ? "
                "WHERE id = ?",
                (as_json(document), *summary_of_setup(document), number),
            )
            self.commit()

    def set_clock(self, session_id: str, started_utc: str, clock_origin: Mapping) -> None:
        """The wall time has become known, or better known, for a session begun without it."""
        self._later("UPDATE session SET clock = ? WHERE id = ?", (as_json(clock_origin), self._number(session_id)))
        self.update_session(session_id, {"started_utc": started_utc})

    def close_session(self, session_id: str) -> None:
        """End the open session."""
        with self._lock:
            tail = self._open_tail(session_id)
            self._waiting += tail.settle()
            self._later("UPDATE session SET open = 0 WHERE id = ?", (tail.session,))
            self._tail, self._open_id = None, None
            self._commit_or_keep()

    def open_session_id(self) -> str | None:
        """The session that is open, also after a restart."""
        with self._lock:
            return self._open_id

    def set_value(self, key: str, value: object) -> None:
        """Keep a small setting as JSON, at once."""
        with self._lock:
            self._later(SET_VALUE, (key, as_json(value)))
            self._commit_or_keep()

    def get_value(self, key: str, default: object = None) -> object:
        """A setting as it was set."""
        with self._lock:
            self._commit_or_keep()
            found = self._scalar("SELECT value FROM setting WHERE key = ?", key)
        return default if found is None else json.loads(found)

    def add_closed(self, statements_of: Callable[[int], Sequence[Statement]]) -> None:
        """Add a whole session that is over; it is given its database number. At once, whole or not at all.

        The statements are made with the store free for others: a session that goes on is kept meanwhile.
        """
        with self._lock:
            self._last_number += 1
            number = self._last_number
        self.run(statements_of(number))

    def forget(self, session_id: str) -> None:
        """A session has been deleted."""
        with self._lock:
            self._numbers.pop(session_id, None)

    def run(self, statements: Sequence[Statement]) -> None:
        """Run statements together with what waits, whole or not at all, at once. For the other parts of the record."""
        with self._lock:
            self.commit()
            self._run(statements)

    def queue(self, statements: Sequence[Statement]) -> None:
        """Have statements run by the next commit. Waits for nothing, however slow the disk is."""
        self._queued.extend(statements)

    def commit(self) -> None:
        """Put all that waits on disk. Raises StorageFullError when it cannot be written; it is then still waiting."""
        with self._lock:
            while self._queued:
                self._waiting.append(self._queued.popleft())
            readings = self._tail.statements() if self._tail else []
            if not self._waiting and not readings:
                return
            self._run(self._waiting + readings)
            self._waiting.clear()
            if self._tail:
                self._tail.written()

    def _run(self, statements: Sequence[Statement]) -> None:
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            for sql, rows in statements:
                self._connection.executemany(sql, rows)
            self._connection.execute("COMMIT")
        except (sqlite3.Error, ValueError, OverflowError) as error:
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            if isinstance(error, sqlite3.OperationalError):
                line = f"{self.path}: {error}: {_mend(str(error))}; nothing is lost meanwhile"
                raise StorageFullError(line) from None
            raise StoreError(f"{self.path}: {error}") from None

    def _commit_or_keep(self) -> None:
        try:
            self.commit()
        except StorageFullError:
            return  # it waits in memory, and the recorder says so

    def _later(self, sql: str, row: tuple) -> None:
        with self._lock:
            self._waiting.append((sql, [row]))

    def _open_tail(self, session_id: str) -> Tail:
        if self._tail is None or session_id != self._open_id:
            raise StoreError(f"session {session_id} is not open: open a session first")
        return self._tail

    def _number(self, session_id: str) -> int:
        with self._lock:
            if session_id not in self._numbers:
                number = self._scalar("SELECT id FROM session WHERE session_id = ?", session_id)
                if number is None:
                    raise StoreError(f"session {session_id} is not in the store: see `tarebook sessions`")
                self._numbers[session_id] = number
            return self._numbers[session_id]

    def _refuse_known(self, session_id: str) -> None:
        known = self._scalar("SELECT 1 FROM session WHERE session_id = ?", session_id)
        if known or session_id in self._numbers:
            raise StoreError(f"session {session_id} is in the store already: give this one another session_id")

    def _resume(self) -> None:
        row = self._connection.execute("SELECT id, session_id FROM session WHERE open = 1").fetchone()
        if row is None:
            return
        channels = channels_of(self._connection, row["id"])
        small = self._connection.execute(
            "SELECT * FROM chunk WHERE session = ? AND settled = 0 ORDER BY id", (row["id"],)
        )
        kept = [rows_of([chunk], channels) for chunk in small.fetchall()]
        last_t_s = self._scalar("SELECT coalesce(max(last_t_s), 0) FROM chunk WHERE session = ?", row["id"])
        self._tail = Tail(row["id"], channels.names, channels.calibrations)
        self._tail.resume(kept, last_t_s)
        self._open_id = row["session_id"]

    def _scalar(self, sql: str, *values: object):
        row = self._connection.execute(sql, values).fetchone()
        return None if row is None else row[0]


def _mend(error: str) -> str:
    if "locked" in error:
        return "close the other program"
    return "free some space" if "full" in error else "see that the disk can be written to, or free some space"
