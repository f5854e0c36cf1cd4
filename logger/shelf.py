"""The closed sessions of this cart as files for who gathers them, made by another process: nothing here waits."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import time
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path

from logger.record.json_text import dump_json
from logger.record.reader import StoreReader
from logger.record.recorded import Recording
from logger.record.recording_read import read_recording
from logger.record.recording_write import write_zip

KEPT = "kept.json"
"""Beside a recording's three files: what the record says of the session, and its findings."""
_TIME = (1980, 1, 1, 0, 0, 0)
TIME_LIMIT_S = 300.0
FRESH_S = 300.0
_STAMP = """
SELECT (SELECT count(*) FROM session WHERE open = 0) AS closed, (SELECT count(*) FROM decision) AS decided,
    (SELECT coalesce(max(id), 0) FROM session WHERE open = 0) AS newest"""
_VERSIONS = """
SELECT session_id, setup, findings, (SELECT count(*) FROM decision WHERE decision.session = session.id) AS decided
FROM session WHERE open = 0 AND imported = 0 AND cart_id = ? ORDER BY id"""


class SessionShelf:
    """A `logger.publish.handing_out.Shelf` of the store at `path`. Used by one thread."""

    def __init__(self, path: Path, cart_id: str):
        self._path, self._cart_id, self._reader = path, cart_id, StoreReader(path)
        self._stamp: tuple = ()
        self._versions: Mapping[str, str] = {}

    def versions(self) -> Mapping[str, str]:
        """Looked up anew when a session has been closed or decided on, and now and then for changed notes."""
        stamp = (*self._reader.rows(_STAMP)[0], int(time.monotonic() / FRESH_S))
        if stamp != self._stamp:
            rows = self._reader.rows(_VERSIONS, self._cart_id)
            self._versions = {row["session_id"]: _version(row) for row in rows}
            self._stamp = stamp
        return self._versions

    def file(self, session_id: str) -> bytes:
        command = [sys.executable, "-m", "logger.shelf", str(self._path), session_id]
        try:
            ended = subprocess.run(command, capture_output=True, timeout=TIME_LIMIT_S, check=False)
        except subprocess.TimeoutExpired:
            raise ValueError(f"its file was not made within {TIME_LIMIT_S:.0f} s") from None
        if ended.returncode != 0:
            lines = ended.stderr.decode(errors="replace").strip().splitlines() or ["its file could not be made"]
            raise ValueError(lines[-1])
        return ended.stdout


def session_file(reader: StoreReader, session_id: str) -> bytes:
    """The recording as a zip, with what the record says of it beside; equal sessions are equal bytes."""
    out = io.BytesIO()
    write_zip(reader.recording(session_id), out)
    kept = {"session": reader.session(session_id), "findings": reader.findings(session_id)}
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        info = zipfile.ZipInfo(KEPT, _TIME)
        info.compress_type = zipfile.ZIP_DEFLATED
        archive.writestr(info, dump_json(kept))
    return out.getvalue()


def read_session_file(path: Path) -> tuple[Recording, dict, dict | None]:
    """Recording, the record's words on it, findings. Raises ValueError, one line."""
    recording = read_recording(path)
    try:
        with zipfile.ZipFile(path) as archive:
            kept = json.loads(archive.read(KEPT))
        return recording, dict(kept["session"]), kept["findings"]
    except (KeyError, TypeError, ValueError) as error:
        raise ValueError(f"{path}: {KEPT} is missing or damaged ({error}): ask for the session again") from None


def _version(row) -> str:
    content = "\0".join([row["setup"], row["findings"] or "", str(row["decided"])])
    return f"{zlib.crc32(content.encode()):08x}"


def main(path: str, session_id: str) -> None:
    """Write the file to standard output, gently."""
    os.nice(10)
    sys.stdout.buffer.write(session_file(StoreReader(path), session_id))


if __name__ == "__main__":
    main(*sys.argv[1:])
