"""Reading a recording from a folder or a zip, with every fault as one line; nothing is ever unpacked to disk."""

from __future__ import annotations

import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import IO, BinaryIO, Protocol

from logger.record.errors import RecordingError
from logger.record.marks_csv import parse_marks
from logger.record.readings_csv import parse_readings
from logger.record.recorded import Recording
from logger.record.session_json import parse_session

LIMITS_BYTES = {"session.json": 4 << 20, "marks.csv": 16 << 20, "readings.csv": 512 << 20}
"""Largest size of each file, unpacked: days of readings, and no more than the cart's computer can hold."""

_PIECE_BYTES = 1 << 20
_MOST_ENTRIES = 1000
_MOST_LISTED_BYTES = 1 << 20
"""Of a zip's list of contents: zipfile makes an object of every entry before anybody can count them."""
_TAIL_BYTES = 22 + 65535


class _Files(Protocol):
    def pieces(self, name: str) -> Iterator[bytes]: ...


def read_recording(path: str | Path | BinaryIO) -> Recording:
    """The recording at `path`: a folder, a zip, or a zip as an open binary file. Files it does not know are left alone.

    Raises RecordingError: one line that names the path, the file, the row or key, and the mend.
    """
    name = path if isinstance(path, (str, Path)) else "upload"
    try:
        with _open(path) as files:
            return _read(files)
    except RecordingError as error:
        raise RecordingError(f"{name}: {error}") from None
    except (zipfile.BadZipFile, zlib.error, EOFError, ValueError, struct.error) as error:
        raise RecordingError(f"{name}: the zip is damaged or cut short ({error}): copy it again") from None
    except (RuntimeError, NotImplementedError) as error:
        raise RecordingError(f"{name}: the zip cannot be read ({error}): pack it deflated, no password") from None
    except OSError as error:
        raise RecordingError(f"{name}: {error.strerror or error}: check the path and its permissions") from None


def _read(files: _Files) -> Recording:
    session = parse_session(b"".join(files.pieces("session.json")))
    marks = parse_marks(b"".join(files.pieces("marks.csv")))
    rows = parse_readings(files.pieces("readings.csv"), list(session["channels"]))
    return Recording(session, rows, marks)


@contextmanager
def _open(path: str | Path | BinaryIO) -> Iterator[_Files]:
    if not isinstance(path, (str, Path)):
        _check_list(path)
        with zipfile.ZipFile(path) as archive:
            yield _Zip(archive)
        return
    path = Path(path)
    if path.is_dir():
        yield _Folder(path)
        return
    if not path.exists():
        raise RecordingError("there is nothing at this path: name a recording's folder or zip")
    with path.open("rb") as handle:
        if handle.read(2) != b"PK":
            raise RecordingError("neither a folder nor a zip: name a recording's folder or zip")
        _check_list(handle)
        with zipfile.ZipFile(handle) as archive:
            yield _Zip(archive)


def _check_list(handle: BinaryIO) -> None:
    """Refuse a zip whose list of contents is longer than a recording's, wherever its end may claim to be (APPNOTE.TXT,
    4.3.16: size of the central directory), and the form for larger ones (4.3.15), which overrides that."""
    handle.seek(max(0, handle.seek(0, 2) - _TAIL_BYTES - 20))
    tail, at = handle.read(), -1
    while (at := tail.find(b"PK\x05\x06", at + 1)) >= 0:
        listed = int.from_bytes(tail[at + 12 : at + 16], "little")
        if listed > _MOST_LISTED_BYTES or tail[max(0, at - 20) :].startswith(b"PK\x06\x07"):
            raise RecordingError("the zip holds too many files: a recording has three")
    handle.seek(0)


class _Folder:
    def __init__(self, path: Path):
        self._path = path

    def pieces(self, name: str) -> Iterator[bytes]:
        file = self._path / name
        if not file.is_file():
            raise _missing(name)
        with file.open("rb") as handle:
            yield from _limited(handle, name)


class _Zip:
    """A zip whose files lie at its top, or all in one folder."""

    def __init__(self, archive: zipfile.ZipFile):
        self._archive = archive
        names = archive.namelist()
        if len(names) > _MOST_ENTRIES:
            raise RecordingError(f"the zip holds {len(names)} files: a recording has three")
        for name in names:
            _check_inside(name)
        self._where = {name: _find(name, names) for name in LIMITS_BYTES}

    def pieces(self, name: str) -> Iterator[bytes]:
        info = self._archive.getinfo(self._where[name])
        if info.file_size > LIMITS_BYTES[name]:
            raise _too_large(name)
        with self._archive.open(info) as handle:
            yield from _limited(handle, name)


def _check_inside(name: str) -> None:
    path = PurePosixPath(name.replace("\\", "/"))
    if path.is_absolute() or ".." in path.parts or ":" in name:
        raise RecordingError(f"the zip has a path outside it, {name[:60]!r}: do not trust it; pack the recording anew")


def _find(wanted: str, names: list[str]) -> str:
    found = [name for name in names if PurePosixPath(name).name == wanted and name.count("/") <= 1]
    if not found:
        raise _missing(wanted)
    top = [name for name in found if name == wanted] or found
    if len(top) > 1:
        raise RecordingError(f"the zip holds {wanted} {len(top)} times: pack one recording, each file once")
    return top[0]


def _limited(handle: IO[bytes], name: str) -> Iterator[bytes]:
    """The file in pieces, and no further than its limit whatever its header says."""
    left = LIMITS_BYTES[name]
    while piece := handle.read(_PIECE_BYTES):
        left -= len(piece)
        if left < 0:
            raise _too_large(name)
        yield piece


def _missing(name: str) -> RecordingError:
    return RecordingError(f"{name} is missing: a recording has {', '.join(LIMITS_BYTES)}")


def _too_large(name: str) -> RecordingError:
    return RecordingError(f"{name} is larger than {LIMITS_BYTES[name] >> 20} MB: record shorter sessions")
