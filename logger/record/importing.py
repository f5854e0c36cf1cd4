"""Taking a recording into the store: whole or not at all, and a second time changes nothing."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import BinaryIO

import numpy as np

from logger.record.errors import StoreError
from logger.record.json_text import dump_json
from logger.record.recorded import Recording
from logger.record.recording_read import read_recording
from logger.record.store import Store
from logger.record.tail import Statement, settled
from logger.record.writes import ADD_MARK, SET_FINDINGS, findings_row, insert_session

_STRETCH_S = 60.0


def import_recording(store: Store, source: str | Path | BinaryIO, findings: Mapping | None = None) -> tuple[str, bool]:
    """The session's id, and whether it is new here. Raises RecordingError and StoreError, the store unchanged."""
    return add_recording(store, read_recording(source), findings)


def add_recording(store: Store, recording: Recording, findings: Mapping | None = None) -> tuple[str, bool]:
    """As `import_recording`, from memory; with what the session has come to, where that is known already."""
    digest = digest_of(recording)
    if is_known(store, recording, digest):
        return recording.session_id, False
    store.add_closed(lambda number: _statements(number, recording, digest, findings))
    return recording.session_id, True


def is_known(store: Store, recording: Recording, digest: str) -> bool:
    """Whether the very same session is here. Raises StoreError where another one has its id."""
    reader = store.reader()
    found = reader.rows("SELECT digest FROM session WHERE session_id = ?", recording.session_id)
    if not found:
        return False
    here = found[0]["digest"] or digest_of(reader.recording(recording.session_id))
    if here == digest:
        return True
    raise StoreError(
        f"session {recording.session_id} is in the store with other content: give the recording another session_id"
    )


def digest_of(recording: Recording) -> str:
    """SHA-256 of what the recording says, however its files are written."""
    rows = recording.rows
    valid = np.isfinite(rows.value)
    total = hashlib.sha256(json.dumps(recording.session, sort_keys=True).encode())
    for column in (rows.t_s + 0.0, rows.channel, valid, np.where(valid, rows.value, 0.0) + 0.0):
        total.update(np.ascontiguousarray(column).tobytes())
    total.update(dump_json([[mark.t_s, mark.mark, mark.detail] for mark in recording.marks]).encode())
    return total.hexdigest()


def _statements(number: int, recording: Recording, digest: str, findings: Mapping | None) -> list[Statement]:
    rows = recording.rows
    end_s = max([float(rows.t_s[-1]) if len(rows) else 0.0, *(mark.t_s for mark in recording.marks)])
    statements = insert_session(number, recording.session, {}, {}, digest)
    edges = np.searchsorted(rows.t_s, np.arange(0.0, end_s + 2 * _STRETCH_S, _STRETCH_S))
    for first, end in zip(edges.tolist(), edges[1:].tolist(), strict=False):
        statements += settled(number, rows[slice(first, end)], {})
    marks = [(number, mark.t_s, mark.mark, dump_json(mark.detail)) for mark in recording.marks]
    ends = [("UPDATE session SET duration_s = ? WHERE id = ?", [(end_s, number)])]
    judged = [] if findings is None else [(SET_FINDINGS, [findings_row(number, findings)])]
    return [*statements, (ADD_MARK, marks), *ends, *judged]
