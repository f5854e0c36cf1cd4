"""The thread that keeps: it takes all it is handed, drops nothing, and never holds up the one who hands it on."""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from firmware_bridge.blocks import Block
from logger.measure.marks import Mark
from logger.record.store import StorageFullError, Store, StoreError

_LONGEST_PAUSE_S = 10.0
_STALLED_S = 3.5
"""A disk that takes so long to write a second's readings does not keep up."""


@dataclass(frozen=True, slots=True)
class RecorderState:
    """How the recorder fares.

    status: "writing"; "full", the storage takes nothing, and what comes is kept in memory and tried again; "fault", a
    commit failed otherwise, `reason` says how. beats: grows as long as the thread lives. readings: safely on disk.
    refused, refusal: how many things could not be kept at all, and why the last of them.
    """

    status: Literal["writing", "full", "fault"] = "writing"
    reason: str = ""
    beats: int = 0
    readings: int = 0
    refused: int = 0
    refusal: str = ""


class Recorder:
    """Hands on to a store from its own thread, with one commit in `batch_s`, at once for a mark, an alert or `flush`.

    A process killed at any instant has less than a second that is not on disk. The queue has no bound: a second of
    readings is a few kilobytes, and a reading that is not kept is lost for good.
    """

    def __init__(self, store: Store, batch_s: float = 0.8):
        self._store = store
        self._batch_s = batch_s
        self._queue: queue.SimpleQueue[Callable[[], None] | threading.Event | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="recorder", daemon=True)
        self._state, self._beat_s = RecorderState(), time.monotonic()
        self._taken = 0
        self._urgent = self._stopping = False
        self._flushes: list[threading.Event] = []

    @property
    def state(self) -> RecorderState:
        """How it fares now."""
        return self._state

    def start(self) -> None:
        """Begin; the store must be open."""
        self._beat_s = time.monotonic()
        self._thread.start()

    def append(self, session_id: str, blocks: Sequence[Block]) -> None:
        """Keep the blocks of one look, within a second."""
        self._queue.put(lambda: self._take(session_id, blocks))

    def mark(self, session_id: str, mark: Mark) -> None:
        """Keep a mark, at once."""
        self._put_urgent(lambda: self._store.add_mark(session_id, mark))

    def alert(self, session_id: str, alert: Mapping) -> None:
        """Keep an alert or what has become of it, at once."""
        self._put_urgent(lambda: self._store.add_alert(session_id, alert))

    def findings(self, session_id: str, findings: Mapping) -> None:
        """Keep what the session has come to."""
        self._queue.put(lambda: self._store.set_findings(session_id, findings))

    def flush(self, timeout_s: float = 5.0) -> bool:
        """Wait until all that was handed on before is on disk; False when that did not happen in time."""
        done = threading.Event()
        self._queue.put(done)
        return done.wait(timeout_s)

    def stop(self, timeout_s: float = 5.0) -> bool:
        """Keep what is there and end; whether it has ended. The store stays open."""
        self._queue.put(None)
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread.is_alive()

    def refusal(self) -> str:
        """Why readings cannot be written, "" when they can."""
        if not self.alive():
            return "the thread that keeps readings has ended: restart the logger"
        return self._state.reason if self._state.status != "writing" else ""

    def trouble(self) -> str:
        """Why readings are not on disk within seconds, "" when they are."""
        if why := self.refusal():
            return why
        waits_s = time.monotonic() - self._beat_s
        return f"has waited {waits_s:.0f} s for the disk; nothing is lost meanwhile" if waits_s > _STALLED_S else ""

    def _put_urgent(self, keep: Callable[[], None]) -> None:
        def keep_at_once() -> None:
            self._urgent = True
            keep()

        self._queue.put(keep_at_once)

    def _take(self, session_id: str, blocks: Sequence[Block]) -> None:
        self._taken += self._store.append(session_id, blocks)

    def _run(self) -> None:
        pause_s = self._batch_s
        due = time.monotonic() + pause_s
        while not self._stopping:
            self._drain(max(0.0, due - time.monotonic()))
            hurry = (self._urgent or self._flushes) and self._state.status == "writing"
            if hurry or self._stopping or time.monotonic() >= due:
                pause_s = self._batch_s if self._commit() else min(2 * pause_s, _LONGEST_PAUSE_S)
                due = time.monotonic() + pause_s
            self._note(beats=self._state.beats + 1)
            self._beat_s = time.monotonic()

    def _drain(self, wait_s: float) -> None:
        """Take one thing, waiting for it, and all that has queued behind it."""
        with contextlib.suppress(queue.Empty):
            self._handle(self._queue.get(timeout=wait_s or 0.001))
            while True:
                self._handle(self._queue.get_nowait())

    def _handle(self, item: Callable[[], None] | threading.Event | None) -> None:
        if item is None:
            self._stopping = True
        elif isinstance(item, threading.Event):
            self._flushes.append(item)
        else:
            self._keep(item)

    def _keep(self, keep: Callable[[], None]) -> None:
        try:
            keep()
        except Exception as error:  # one bad item must not end the thread that keeps all others
            refusal = str(error) if isinstance(error, StoreError) else f"{type(error).__name__}: {error}"
            self._note(refused=self._state.refused + 1, refusal=refusal)

    def _commit(self) -> bool:
        try:
            self._store.commit()
        except Exception as error:  # whatever it is, what waits is tried again
            self._note(status="full" if isinstance(error, StorageFullError) else "fault", reason=str(error))
            return False
        self._urgent = False
        self._note(status="writing", reason="", readings=self._taken)
        for done in self._flushes:
            done.set()
        self._flushes.clear()
        return True

    def _note(self, **changes: object) -> None:
        self._state = replace(self._state, **changes)
