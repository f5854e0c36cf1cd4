"""Opening the store's file: is it ours, is it sound, is it of this version, does nobody else write to it."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import sqlite3
from pathlib import Path
from typing import IO

from logger.record.errors import StoreBusyError, StoreError, StoreUnwritableError
from logger.record.schema import APPLICATION_ID

UNWRITABLE = (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO)
"""What a card says that is full, read-only or failing."""

SCHEMA_VERSION = 3
_BIG_BYTES = 256 << 20
_SMALL_TABLES = ("session", "channel", "mark", "alert", "outbox", "setting", "decision", "container", "movement")


def lock(path: Path) -> IO:
    """Hold the right to write until the handle is closed or the process dies. Raises StoreError."""
    handle = open(path.with_name(path.name + ".lock"), "a+", encoding="utf-8")  # noqa: SIM115 - held open as the lock
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        handle.seek(0)
        holder = handle.read().strip() or "?"
        handle.close()
        line = f"{path}: process {holder} writes to it: hand this to the running program, or stop that first"
        raise StoreBusyError(line, holder) from None
    try:
        handle.truncate(0)
        handle.write(str(os.getpid()))
        handle.flush()
    except OSError:
        with contextlib.suppress(OSError):  # closing tries once more to write; the lock is let go all the same
            handle.close()
        raise
    return handle


def prepare(path: Path) -> str:
    """Make or migrate the store and see that it is sound, keeping a copy before a migration; how it was found, in
    words. Raises StoreError."""
    try:
        version = _version(path) if path.exists() and path.stat().st_size else 0
        found = check(path) if version > 0 else "begun anew"
        if version < SCHEMA_VERSION:
            _migrate(path, version)
        return found
    except sqlite3.DatabaseError as error:
        if _cannot_write(path, error):
            raise StoreUnwritableError(f"{path}: {error}: free some space, or choose another folder") from None
        raise StoreError(f"{path}: {error}: restore the last backup, or move the file away to begin anew") from None


def _cannot_write(path: Path, error: sqlite3.DatabaseError) -> bool:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    read_only = bool(os.statvfs(path.parent).f_flag & os.ST_RDONLY)
    return code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR) or read_only


def _version(path: Path) -> int:
    connection = sqlite3.connect(path)
    try:
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        ours = connection.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
        used = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    finally:
        connection.close()
    if used and not ours:
        raise StoreError(f"{path}: this is another program's database: name another file")
    _refuse_newer(path, version)
    return version


def _refuse_newer(path: Path, version: int) -> None:
    if version > SCHEMA_VERSION:
        raise StoreError(
            f"{path}: written by a newer version (schema {version}, this program knows {SCHEMA_VERSION}): "
            "update this program"
        )


def check(path: Path) -> str:
    """SQLite's own check: of all, or of all but the readings where that would take long; which of the two, in words.
    Raises StoreError."""
    connection = sqlite3.connect(path)
    try:
        small = path.stat().st_size < _BIG_BYTES
        checks = ["PRAGMA quick_check(1)"] if small else [f"PRAGMA quick_check({name})" for name in _SMALL_TABLES]
        results = [connection.execute(statement).fetchone()[0] for statement in checks]
    finally:
        connection.close()
    wrong = next((result for result in results if result != "ok"), None)
    if wrong:
        raise StoreError(f"{path}: the store is damaged ({wrong.splitlines()[0]}): restore the last backup")
    return "found sound" if small else "found sound, its readings not looked at (they are many)"


def _migrate(path: Path, version: int) -> None:
    from logger.record.migrations import migrate  # only here: the library takes a while to load

    if version:
        from logger.record.backup import copy_store

        copy_store(path, path.with_name(f"{path.name}.schema-{version}"))
    migrate(path)


def connect(path: Path, read_only: bool = False) -> sqlite3.Connection:
    """A connection without implicit transactions; a writer's commits are on disk when they return."""
    if read_only:
        uri = f"{path.resolve().as_uri()}?mode=ro"
        connection = sqlite3.connect(uri, uri=True, isolation_level=None, timeout=5)
        _refuse_newer(path, connection.execute("PRAGMA user_version").fetchone()[0])
    else:
        connection = sqlite3.connect(path, isolation_level=None, timeout=5, check_same_thread=False)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.row_factory = sqlite3.Row
    return connection
