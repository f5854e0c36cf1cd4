"""Sessions for other programs: as a recording, as CSV, as JSON Lines, as Parquet."""

from __future__ import annotations

import csv
import heapq
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TextIO

import numpy as np

from logger.record.errors import RecordingError, StoreError
from logger.record.json_text import dump_json
from logger.record.reader import StoreReader
from logger.record.recorded import Recording
from logger.record.recording_write import write_recording
from logger.record.wall_times import wall_times

FORMATS = ("recording", "csv", "parquet", "jsonl")
_ROWS_A_PIECE = 20_000
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


class ExportError(StoreError):
    """A session that cannot be exported; one line with the mend."""


def export_session(reader: StoreReader, session_id: str, form: str, path: str | Path) -> None:
    """Write one session; `path` is a file, or for parquet the data set's folder. Raises ExportError, StoreError."""
    if form not in FORMATS:
        raise ExportError(f"format {form!r} is not known: write one of {', '.join(FORMATS)}")
    path = Path(path)
    try:
        _WRITERS[form](reader, session_id, path)
    except RecordingError as error:
        raise ExportError(str(error)) from None
    except OSError as error:
        raise ExportError(f"{path}: {error.strerror or error}: free some space or choose another place") from None


def _recording(reader: StoreReader, session_id: str, path: Path) -> None:
    write_recording(reader.recording(session_id), path)


def _parquet(reader: StoreReader, session_id: str, path: Path) -> None:
    try:
        from logger.record.export_parquet import write_parquet
    except ImportError:
        raise ExportError("parquet needs pyarrow: install it with pip install 'tarebook[parquet]'") from None
    write_parquet(reader, session_id, path)


def _csv(reader: StoreReader, session_id: str, path: Path) -> None:
    """One row a reading, a mark or an alert, in order of time; a text that might be a formula is made harmless."""
    recording = reader.recording(session_id)
    rows = heapq.merge(_readings(recording), _said(reader, recording), key=lambda row: row["t_s"])

    def write(out: TextIO) -> None:
        names = ("session_id", "time_utc", "t_s", "kind", "name", "value", "unit", "detail")
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(names)
        safe_id = harmless(session_id)
        for row in rows:
            texts = [harmless(row[name]) for name in ("kind", "name")]
            value = "" if row["value"] is None else repr(row["value"])
            detail = harmless(row["detail"])
            writer.writerow([safe_id, row["time_utc"], repr(row["t_s"]), *texts, value, row["unit"], detail])

    _write_whole(path, write)


def _jsonl(reader: StoreReader, session_id: str, path: Path) -> None:
    """A line for the session, one for each reading, mark and alert in order of time, one for the findings."""
    recording, session = reader.recording(session_id), reader.session(session_id)
    rows = heapq.merge(_readings(recording), _said(reader, recording), key=lambda row: row["t_s"])

    def write(out: TextIO) -> None:
        out.write(dump_json({"kind": "session", **session}) + "\n")
        for row in rows:
            out.write(dump_json(row) + "\n")
        out.write(dump_json({"kind": "findings", "findings": reader.findings(session_id)}) + "\n")

    _write_whole(path, write)


def harmless(text: str) -> str:
    """The text so that no spreadsheet runs it as a formula: an apostrophe before what could begin one."""
    return "'" + text if text.startswith(_FORMULA_STARTS) else text


def _readings(recording: Recording) -> Iterator[dict]:
    names = list(recording.channels)
    units = [channel["unit"] for channel in recording.channels.values()]
    for start in range(0, len(recording.rows), _ROWS_A_PIECE):
        part = recording.rows[slice(start, start + _ROWS_A_PIECE)]
        times = _texts(recording.session["started_utc"], part.t_s)
        columns = zip(times, part.t_s.tolist(), part.channel.tolist(), part.value.tolist(), strict=True)
        for time_utc, t_s, k, value in columns:
            row = {"kind": "reading", "t_s": t_s, "time_utc": time_utc, "name": names[k]}
            yield {**row, "value": value if value - value == 0 else None, "unit": units[k], "detail": ""}


def _said(reader: StoreReader, recording: Recording) -> Iterator[dict]:
    marks = [("mark", m.t_s, m.mark, dump_json(m.detail) if m.detail else "") for m in recording.marks]
    alerts = [("alert", a["t_s"], a["code"], a["message"]) for a in reader.alerts(recording.session_id)]
    for kind, t_s, name, detail in sorted(marks + alerts, key=lambda said: said[1]):
        time_utc = _texts(recording.session["started_utc"], np.array([t_s]))[0]
        yield {
            "kind": kind,
            "t_s": t_s,
            "time_utc": time_utc,
            "name": name,
            "value": None,
            "unit": "",
            "detail": detail,
        }


def _texts(started_utc: str | None, t_s: np.ndarray) -> list[str]:
    if started_utc is None:
        return [""] * len(t_s)
    return [f"{text}Z" for text in np.datetime_as_string(wall_times(started_utc, t_s), unit="us").tolist()]


def _write_whole(path: Path, write: Callable[[TextIO], None]) -> None:
    """The file appears whole or not at all and replaces nothing."""
    if path.exists():
        raise ExportError(f"{path}: there is something already: name a path that is free")
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, draft = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with open(handle, "w", encoding="utf-8", newline="") as out:
            write(out)
        os.chmod(draft, 0o644)
        os.replace(draft, path)
    except BaseException:
        Path(draft).unlink(missing_ok=True)
        raise


_WRITERS = {"recording": _recording, "csv": _csv, "parquet": _parquet, "jsonl": _jsonl}
