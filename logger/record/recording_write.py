"""Writing a recording as a folder or a zip; the same recording gives the same bytes."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

from logger.record.errors import RecordingError
from logger.record.marks_csv import format_marks
from logger.record.recorded import Recording
from logger.record.rows import Rows

_ROWS_A_PIECE = 50_000
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)
"""One time for every file of a zip, so that equal recordings are equal files."""


def write_recording(recording: Recording, path: str | Path) -> None:
    """Write a zip if `path` ends in .zip, else a folder. It appears whole or not at all and replaces nothing.

    Raises RecordingError when something stands there already or it cannot be written.
    """
    path = Path(path)
    if path.exists():
        raise RecordingError(f"{path}: there is something already: name a path that is free")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _write_zip(recording, path) if path.suffix == ".zip" else _write_folder(recording, path)
    except OSError as error:
        raise RecordingError(f"{path}: {error.strerror or error}: free some space or choose another place") from None
    except ValueError as error:
        raise RecordingError(f"{path}: the session holds what JSON cannot ({error}): write null instead") from None


def recording_files(recording: Recording) -> dict[str, Iterator[str]]:
    """File name → its text in pieces."""
    return {
        "session.json": iter([json.dumps(recording.session, indent=1, ensure_ascii=False, allow_nan=False) + "\n"]),
        "readings.csv": _readings(recording.rows, list(recording.channels)),
        "marks.csv": iter([format_marks(recording.marks)]),
    }


def _readings(rows: Rows, names: list[str]) -> Iterator[str]:
    yield "t_s,channel,value\n"
    for start in range(0, len(rows), _ROWS_A_PIECE):
        part = rows[slice(start, start + _ROWS_A_PIECE)]
        columns = zip(part.t_s.tolist(), part.channel.tolist(), part.value.tolist(), strict=True)
        yield "".join(
            [
                f"{t_s!r},{names[k]},{value!r}\n" if value - value == 0 else f"{t_s!r},{names[k]},\n"
                for t_s, k, value in columns
            ]
        )


def _write_folder(recording: Recording, path: Path) -> None:
    draft = Path(tempfile.mkdtemp(prefix=f".{path.name}.", dir=path.parent))
    try:
        for name, pieces in recording_files(recording).items():
            with (draft / name).open("w", encoding="utf-8", newline="") as out:
                out.writelines(pieces)
        draft.chmod(0o755)
        draft.rename(path)
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise


def _write_zip(recording: Recording, path: Path) -> None:
    handle, draft = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as out:
            write_zip(recording, out)
        os.chmod(draft, 0o644)
        os.replace(draft, path)
    except BaseException:
        Path(draft).unlink(missing_ok=True)
        raise


def write_zip(recording: Recording, out) -> None:
    """Write the zip to a binary file object (a download, say)."""
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, pieces in recording_files(recording).items():
            info = zipfile.ZipInfo(name, _ZIP_TIME)
            info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            with archive.open(info, "w", force_zip64=True) as file:
                for piece in pieces:
                    file.write(piece.encode())
