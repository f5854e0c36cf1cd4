"""Going on with a session that was open when the program or the power ended."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from firmware_bridge.clock import Clock
from logger.engine import Run
from logger.measure.marks import Mark
from logger.measure.ticks import Signal
from logger.record.reader import StoreReader
from logger.record.recorded import Recording
from logger.scale_desk import SUBJECT
from logger.session.pipeline import Pipeline
from logger.session.setup import SessionSetup, channel_infos
from logger.session_time import STEP_S, SessionTime
from logger.wallclock import WallClock, from_text

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
LONGEST_GAP_S = 30 * 86400.0
OUTSIDE_CODES = (
    "power-was-lost",
    "clock-untrusted",
    "storage-low",
    "container-ledger",
    "part-unwell",
    "board-restarted",
)
OUTSIDE_SUBJECTS = (SUBJECT,)
"""Alerts that no reading tells of; the record has to tell of them again when the pipeline is built anew."""
_OUTSIDE_MARK = "outside"


def boot_id() -> str:
    """New at every start of the machine; "" where the system does not say."""
    try:
        return BOOT_ID.read_text().strip()
    except OSError:
        return ""


def clock_origin(clock: Clock, origin_s: float) -> dict:
    """What to keep so that session time can be continued: this start of the machine, and its monotonic clock at 0."""
    back_s = (clock.now() - origin_s) / clock.speed
    return {"boot_id": boot_id(), "monotonic_s": time.monotonic() - back_s, "speed": clock.speed}


@dataclass(frozen=True, slots=True)
class Continuation:
    """Session time now (s), whether the machine was off in between, and whether the gap's length is known."""

    t_s: float
    power_was_lost: bool
    gap_known: bool


def continuation(
    origin: Mapping, last_t_s: float, started_utc: str | None, clock: Clock, wall: WallClock
) -> Continuation:
    """Where session time stands. The same start of the machine: its monotonic clock tells. Another: the wall clock does
    where it can be trusted, else time goes on from `last_t_s`, the time of the last thing kept."""
    same_machine = bool(origin.get("boot_id")) and origin.get("boot_id") == boot_id()
    if same_machine and origin.get("speed") == clock.speed:
        t_s = (time.monotonic() - origin["monotonic_s"]) * clock.speed
        return Continuation(max(t_s, last_t_s), False, True)
    if same_machine:
        return Continuation(last_t_s, False, False)
    started = from_text(started_utc)
    if started is None or not wall.trusted():
        return Continuation(last_t_s, True, False)
    t_s = (wall.now() - started).total_seconds()
    known = last_t_s <= t_s <= last_t_s + LONGEST_GAP_S
    return Continuation(t_s if known else last_t_s, True, known)


def rebuild(reader: StoreReader, session_id: str, limits: Mapping[str, float]) -> tuple[Pipeline, float]:
    """The pipeline as it was after the last thing kept, and the time (s) of that. Raises ValueError (StoreError,
    SetupError) where the record cannot be read."""
    recording = reader.recording(session_id)
    alerts = reader.alerts(session_id)
    pipeline = Pipeline(SessionSetup.from_json(recording.session), channel_infos(recording.channels), dict(limits))
    told = sorted([*recording.marks, *_outside_marks(alerts)], key=lambda mark: mark.t_s)
    for item in Recording(recording.session, recording.rows, told).batches():
        if not isinstance(item, Mark):
            pipeline.feed(item)
        elif item.mark == _OUTSIDE_MARK:
            pipeline.raise_alert(item.t_s, item.detail["signal"], item.detail["subject"])
        else:
            pipeline.mark(item)
    last_reading_s = float(recording.rows.t_s[-1]) if len(recording.rows) else 0.0
    return pipeline, max([last_reading_s, *(mark.t_s for mark in told)])


def _outside_marks(alerts: list[dict]) -> list[Mark]:
    marks = []
    for alert in alerts:
        if alert["code"] in OUTSIDE_CODES or alert["subject"] in OUTSIDE_SUBJECTS:
            for t_s, active in ((alert["t_s"], True), (alert["cleared_t_s"], False)):
                if t_s is not None:
                    signal = Signal(alert["code"], alert["severity"], active, alert["message"])
                    marks.append(Mark(t_s, _OUTSIDE_MARK, {"signal": signal, "subject": alert["subject"]}))
    return marks


def resumed_run(
    reader: StoreReader, session_id: str, limits: Mapping[str, float], clock: Clock, wall: WallClock
) -> tuple[Run, Continuation, float]:
    """The run that goes on with `session_id`, where its time stands, and the time (s) of the last thing kept."""
    pipeline, last_t_s = rebuild(reader, session_id, limits)
    kept = reader.session(session_id)
    where = continuation(kept["clock"], last_t_s, kept["started_utc"], clock, wall)
    session_time = SessionTime(clock.now() - where.t_s, round(last_t_s + STEP_S, 6), clock.speed)
    return Run(pipeline, session_time, session_id), where, last_t_s


def gap_note(where: Continuation, last_t_s: float) -> str:
    """What to tell about the time without readings."""
    if not where.gap_known:
        return "readings are missing for a time that is not known"
    return f"readings are missing for {where.t_s - last_t_s:.1f} s"
