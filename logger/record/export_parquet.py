"""Sessions as a Parquet data set, partitioned by cart and month, for any engine that reads Parquet.

`readings/cart_id=…/month=YYYY-MM/SESSION.parquet` holds one row a reading; `sessions/…`, laid out alike, one row a
session with its description and findings as JSON. Exporting a session again replaces its two files.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from logger.record.reader import StoreReader
from logger.record.recorded import Recording
from logger.record.rows import NO_CODE, codes_of
from logger.record.wall_times import wall_times

VERSION_KEY = b"tarebook.version"

_SUMMARY = {
    "session_id": pa.string(),
    "started_utc": pa.string(),
    "refrigerant": pa.string(),
    "target_g": pa.float64(),
    "delivered_g": pa.float64(),
    "uncertainty_g": pa.float64(),
    "within_placard": pa.bool_(),
    "duration_s": pa.float64(),
    "decision": pa.string(),
}


def write_parquet(reader: StoreReader, session_id: str, folder: Path) -> None:
    """Write both files of one session. Raises OSError."""
    write_session(reader.recording(session_id), reader.session(session_id), reader.findings(session_id), folder)


def write_session(
    recording: Recording, session: Mapping, findings: Mapping | None, folder: Path, version: str = ""
) -> Path:
    """Write both files of one session, its readings first; the path below `readings` and `sessions`. session: as
    `StoreReader.session` gives it. version: kept in the file of the session. Raises OSError."""
    month = (session["started_utc"] or "unknown")[:7]
    place = Path(f"cart_id={quote(session['cart_id'], safe='')}") / f"month={month}"
    place /= f"{quote(session['session_id'], safe='')}.parquet"
    _write(_readings(recording), folder / "readings" / place)
    table = _summary(session, findings)
    _write(table.replace_schema_metadata({VERSION_KEY: version.encode()}), folder / "sessions" / place)
    return place


def _readings(recording: Recording) -> pa.Table:
    rows, names = recording.rows, list(recording.channels)
    units = [channel["unit"] for channel in recording.channels.values()]
    code, count = codes_of(rows), len(recording.rows)
    none = code == NO_CODE
    columns = {
        "session_id": pa.array([recording.session_id] * count).dictionary_encode(),
        "t_s": pa.array(rows.t_s),
        "time_utc": pa.array(wall_times(recording.session["started_utc"], rows.t_s), pa.timestamp("us", tz="UTC")),
        "channel": pa.DictionaryArray.from_arrays(pa.array(rows.channel.astype(np.int32)), pa.array(names)),
        "value": pa.array(rows.value, mask=~np.isfinite(rows.value)),
        "unit": pa.DictionaryArray.from_arrays(pa.array(rows.channel.astype(np.int32)), pa.array(units)),
        "code": pa.array(np.where(none, 0, code).astype(np.int32), mask=none),
    }
    return pa.table(columns)


def _summary(session: Mapping, findings: Mapping | None) -> pa.Table:
    columns = {name: pa.array([session[name]], kind) for name, kind in _SUMMARY.items()}
    columns["setup"] = pa.array([json.dumps(session["setup"], ensure_ascii=False)])
    columns["findings"] = pa.array([json.dumps(findings, ensure_ascii=False) if findings else None], pa.string())
    return pa.table(columns)


def _write(table: pa.Table, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_name(f".{path.name}.part")
    try:
        pq.write_table(table, draft, compression="zstd")
        os.replace(draft, path)
    finally:
        draft.unlink(missing_ok=True)
