"""What the technician is told of the container ledger: a label it does not know, a session it cannot book."""

from __future__ import annotations

import logging
from collections.abc import Mapping

from logger.engine import Engine, Run
from logger.measure.ticks import Signal
from logger.record.container_booking import book_session
from logger.record.containers import ContainerError, check_refrigerant, ledger
from logger.record.reader import StoreReader
from logger.record.store import Store

log = logging.getLogger(__name__)

CODE = "container-ledger"


def notice_label(engine: Engine, reader: StoreReader, run: Run, label: str) -> None:
    """In the engine's thread: one notice for a label that is not in the ledger, or is of another refrigerant."""
    try:
        check_refrigerant(reader, label, run.session_id, run.pipeline.setup.refrigerant)
    except ContainerError as error:
        engine.signal(run, Signal(CODE, "notice", True, str(error)), label)


def with_ledger(reader: StoreReader, detail: Mapping) -> dict:
    """What was told of a container, and what the ledger knows of one with this label: kept with the mark, so that a
    replay judges by the same."""
    label = str(detail.get("label") or "").strip()
    held = next((row for row in ledger(reader) if row["label"] == label), None) if label else None
    known = {key: held[key] for key in ("tare_g", "water_capacity_g") if held[key]} if held and held["most_g"] else {}
    return {**known, **detail}


def book(store: Store, session_id: str, findings: Mapping) -> list[str]:
    """Book a session that is over; what could not be booked and has not been told of during the session."""
    started_utc = store.reader().session(session_id)["started_utc"]
    told = {alert["message"] for alert in findings.get("alerts") or [] if alert["code"] == CODE}
    lines = [line for line in book_session(store, session_id, findings, started_utc) if line not in told]
    for line in lines:
        log.warning("session %s: not in the container ledger: %s", session_id, line)
    return lines


def notice_unbooked(engine: Engine, session_id: str, lines: list[str]) -> None:
    """One notice for what a session could not be booked; it stands until someone has seen it."""
    if lines:
        signal = Signal(CODE, "notice", True, f"session {session_id}: {'; '.join(lines)}")
        engine.call(lambda run: engine.signal(run, signal, session_id))
