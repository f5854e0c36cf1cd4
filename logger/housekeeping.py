"""Once a second: is there room, is the recorder alive, is the time known; what is not well becomes an alert."""

from __future__ import annotations

import logging
import shutil
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from firmware_bridge.clock import Clock
from logger.engine import Engine, Run
from logger.measure.ticks import Signal
from logger.record.recorder import Recorder
from logger.record.store import Store, StoreError
from logger.resume import clock_origin
from logger.retention import Retention
from logger.wallclock import WallClock, to_text

log = logging.getLogger(__name__)

PERIOD_S = 1.0
STORAGE_FREE_MB = 200.0
IDLE_RENEWAL_S = 3600.0


@dataclass(frozen=True, slots=True)
class Health:
    """What housekeeping sees: free space (MB), why readings cannot be written ("" when they can), why they are late,
    whether UTC is known."""

    free_mb: float
    unwritten: str
    late: str
    clock_trusted: bool


def conditions(health: Health, least_free_mb: float) -> list[tuple[str, Signal]]:
    """(subject, signal) for each thing watched, active or not; a pure matter."""
    low = health.free_mb < least_free_mb
    stuck, slow = bool(health.unwritten), bool(health.late and not health.unwritten)
    return [
        ("", Signal("storage-low", "caution", low, f"Only {health.free_mb:.0f} MB left to record on: free some space")),
        ("recorder", Signal("storage-low", "danger", stuck, f"Readings are not kept on disk: {health.unwritten}")),
        ("disk", Signal("storage-low", "caution", slow, f"The disk is slow: the record {health.late}")),
        ("", Signal("clock-untrusted", "notice", not health.clock_trusted, "Date and time of day are not known yet")),
    ]


class Housekeeping:
    """Tells the engine what changed. renew_idle: makes a fresh run for a long time without a session.
    more: further conditions to tell of, as `conditions` gives them."""

    def __init__(
        self,
        folder: Path,
        engine: Engine,
        store: Store,
        recorder: Recorder,
        clock: Clock,
        wall: WallClock,
        renew_idle: Callable[[], Run],
        retention: Retention,
        least_free_mb: float = STORAGE_FREE_MB,
        more: Callable[[], list[tuple[str, Signal]]] = list,
    ):
        self._folder, self._engine, self._store, self._recorder = folder, engine, store, recorder
        self._clock, self._wall, self._renew_idle = clock, wall, renew_idle
        self._retention, self._least_free_mb, self._more = retention, least_free_mb, more
        self._reader = store.reader()
        self._dated: str | None = None
        self._stop = threading.Event()
        self.turns = 0
        self._thread = threading.Thread(target=self._run, name="housekeeping", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(2)

    def alive(self) -> bool:
        return self._thread.is_alive()

    def _run(self) -> None:
        while True:
            self.turns += 1
            try:
                self._look()
            except Exception:  # the cart goes on without its housekeeping's advice
                log.exception("housekeeping failed once")
            if self._stop.wait(PERIOD_S):
                return

    def _look(self) -> None:
        free_mb = shutil.disk_usage(self._folder).free / 1e6
        health = Health(free_mb, self._recorder.refusal(), self._recorder.trouble(), self._wall.trusted())
        told = conditions(health, self._least_free_mb) + self._more()
        self._engine.call(lambda run: self._tell(run, told))
        if health.clock_trusted:
            self._date()
            self._retention.look(time.monotonic(), self._wall.now())

    def _tell(self, run: Run, told: list[tuple[str, Signal]]) -> None:
        """In the engine's thread: begin and end what differs from the alerts that stand."""
        standing = {(alert.code, alert.subject) for alert in run.pipeline.alerts.standing()}
        for subject, signal in told:
            if ((signal.code, subject) in standing) != signal.active:
                self._engine.signal(run, signal, subject)
        if run.session_id is None and self._clock.now() - run.time.origin_s > IDLE_RENEWAL_S * self._clock.speed:
            self._engine.replace(self._renew_idle())

    def _date(self) -> None:
        """The wall time is known: say when the open session began, if that was not known."""
        session_id, origin_s, now_s = self._engine.call(
            lambda run: (run.session_id, run.time.origin_s, self._clock.now())
        )
        if session_id in (None, self._dated):
            return
        try:
            if self._reader.session(session_id)["started_utc"] is None:
                began = self._wall.now() - timedelta(seconds=(now_s - origin_s) / self._clock.speed)
                self._store.set_clock(session_id, to_text(began), clock_origin(self._clock, origin_s))
            self._dated = session_id
        except StoreError as error:
            log.warning("%s", error)
