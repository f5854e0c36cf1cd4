"""A record in memory when the card cannot be written at the start: scale, stop and page go on without it."""

from __future__ import annotations

import contextlib
import hashlib
import logging
import os
import shutil
import stat
import tempfile
from dataclasses import dataclass
from pathlib import Path

from logger.measure.ticks import Signal
from logger.pairing import PAIRING_FILE
from logger.paths import store_path
from logger.record.errors import StoreUnwritableError
from logger.record.store import Store

log = logging.getLogger(__name__)

MEMORY = Path("/dev/shm")  # noqa: S108 - Linux's own folder in memory; what is found there is looked at before it is used
SUBJECT = "record"


@dataclass(frozen=True, slots=True)
class Opened:
    """The store, the folder that all that is kept goes to, and why that is not the one asked for ("": it is)."""

    store: Store
    folder: Path
    why: str = ""

    def condition(self) -> tuple[str, Signal]:
        """(subject, signal) of the danger that stands while the record is in memory."""
        words = (
            f"The record is kept in memory only and is gone with the power ({self.why}). Weight and stop work. Free "
            "space on the card, or change it, and start the logger again"
        )
        return SUBJECT, Signal("storage-low", "danger", bool(self.why), words)


def open_record(folder: Path) -> Opened:
    """The store in `folder`, or where nothing can be written there, one in memory. Raises StoreError for a store that
    must not be used: damaged, of a newer version, in use."""
    try:
        return Opened(Store.open(store_path(folder)), folder)
    except StoreUnwritableError as error:
        stand_in = _folder_for(folder)
        with contextlib.suppress(OSError):  # phones stay paired where the list of them can be read
            shutil.copyfile(folder / PAIRING_FILE, stand_in / PAIRING_FILE)
            os.chmod(stand_in / PAIRING_FILE, 0o600)
        opened = Opened(Store.open(store_path(stand_in)), stand_in, str(error).split(": ", 1)[-1].split(": ")[0])
        log.error("%s; until the next start the record is in memory, in %s", error, stand_in)
        return opened


def _folder_for(folder: Path) -> Path:
    """The same one at every start, so that a session goes on; another where somebody else holds that."""
    base = MEMORY if os.access(MEMORY, os.W_OK) else Path(tempfile.gettempdir())
    name = hashlib.sha256(str(folder.absolute()).encode()).hexdigest()[:16]
    wanted = base / f"tarebook-{os.getuid()}-{name}"
    with contextlib.suppress(FileExistsError):
        wanted.mkdir(mode=0o700)
    found = wanted.lstat()
    ours = stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid() and not found.st_mode & 0o077
    return wanted if ours else Path(tempfile.mkdtemp(prefix="tarebook-", dir=base))
