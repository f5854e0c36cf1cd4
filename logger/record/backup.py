"""A copy of the store, whole and consistent, while the store is being written."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from logger.record.errors import StoreError


def copy_store(path: str | Path, target: str | Path) -> None:
    """Copy the store at `path` to `target` with SQLite's own backup, checked; it appears whole or not at all.

    One snapshot: in write-ahead mode a reader does not hold up the writer. Raises StoreError when it fails.
    """
    path, target = Path(path), Path(target)
    draft = target.with_name(target.name + ".part")
    try:
        draft.unlink(missing_ok=True)
        _copy(path, draft)
        draft.replace(target)
    except (OSError, sqlite3.Error) as error:
        draft.unlink(missing_ok=True)
        raise StoreError(f"{target}: the backup failed ({error}): free some space or choose another place") from None


def _copy(path: Path, draft: Path) -> None:
    source = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    copy = sqlite3.connect(draft)
    try:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
        wrong = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
    finally:
        source.close()
        copy.close()
    if wrong != "ok":
        raise StoreError(f"{draft}: the backup is not sound ({wrong}): check the storage and repeat it")
