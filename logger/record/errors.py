"""What can go wrong with a record; every message is one line that names file, row or key, and the mend."""

from __future__ import annotations


class RecordingError(ValueError):
    """A recording that cannot be read or written."""


class StoreError(ValueError):
    """The store cannot do what was asked of it."""


class StorageFullError(StoreError):
    """Nothing can be written just now; what was to be written is kept in memory and tried again."""


class StoreUnwritableError(StoreError):
    """Nothing can be written where the store is to be: the card is full, read-only or failing."""


class StoreBusyError(StoreError):
    """Another process writes to this store; `holder` is its number."""

    def __init__(self, line: str, holder: str):
        super().__init__(line)
        self.holder = holder
