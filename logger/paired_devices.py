"""The file of paired devices: read by the running logger, changed by it and by commands beside it."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import re
from collections.abc import Iterator
from pathlib import Path

from logger.durable import replace_whole

DIGEST = re.compile("[0-9a-f]{64}")
TEXTS = ("name", "sha256", "paired_utc", "seen_utc")


class PairedDevices:
    """Devices by their id: {"name", "sha256", "paired_utc", "seen_utc"}, times None where unknown.

    A change by another process is seen by the next look. Not for many threads at once.
    """

    def __init__(self, file: Path):
        self._file = Path(file)
        self._seen_stamp: tuple | None = None
        self._devices: dict[str, dict] = {}

    def known(self) -> dict[str, dict]:
        """As the file has them now. An unreadable file counts as no device: all must pair again, nobody gets in."""
        stamp = self._stamp()
        if stamp != self._seen_stamp:
            try:
                self._devices = self.read()
            except (OSError, ValueError):
                self._devices = {}
            self._seen_stamp = stamp
        return self._devices

    def read(self) -> dict[str, dict]:
        """The same, but raises OSError or ValueError, one line, for a file that is there and cannot be used."""
        try:
            devices = json.loads(self._file.read_text("utf-8"))["devices"]
            return {str(key): _device(each) for key, each in devices.items()}
        except FileNotFoundError:
            return {}
        except (ValueError, KeyError, TypeError, AttributeError):
            raise ValueError(f"{self._file}: not a list of paired devices: remove it, and pair them again") from None

    @contextlib.contextmanager
    def changing(self) -> Iterator[dict[str, dict]]:
        """What is known, to be changed while no other process changes it; kept on leaving. Raises OSError when it
        cannot be kept: then nothing has changed."""
        folder = os.open(self._file.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            fcntl.flock(folder, fcntl.LOCK_EX)
            devices = dict(self.known())
            yield devices
            self._keep(devices)
        finally:
            os.close(folder)

    def _keep(self, devices: dict[str, dict]) -> None:
        replace_whole(self._file, json.dumps({"devices": devices}, indent=1), 0o600, self._file.parent)

    def _stamp(self) -> tuple | None:
        try:
            found = self._file.stat()
        except OSError:
            return None
        return found.st_ino, found.st_mtime_ns, found.st_ctime_ns, found.st_size


def _device(told: dict) -> dict:
    known = {key: None if told.get(key) is None else str(told[key]) for key in TEXTS}
    if known["name"] is None or not DIGEST.fullmatch(known["sha256"] or ""):
        raise ValueError("neither a name nor a digest")
    return known
