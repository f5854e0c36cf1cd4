"""The one thread that has the pipeline: readings and orders in, the record and the viewers out.

Nothing here waits for a consumer: the recorder's queue takes everything, viewers lose their oldest.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Protocol, TypeVar

from firmware_bridge.blocks import Block
from firmware_bridge.clock import Clock
from logger.measure.marks import Mark
from logger.measure.ticks import Signal
from logger.publish.feed import Feed
from logger.session.alerts import Alert
from logger.session.events import Event
from logger.session.pipeline import Pipeline, clean
from logger.session_time import SessionTime

log = logging.getLogger(__name__)

T = TypeVar("T")
SNAPSHOT_PERIOD_S = 0.2
GATHER_S = 0.004
MOST_WAITING = 20_000
CALL_TIMEOUT_S = 60.0
LATE_S = 3.0
"""Fifteen snapshots: past that the page shows what was, not what is."""


class EngineEnded(ValueError):
    """Asked of an engine that has ended."""


class Keeper(Protocol):
    """The recorder, as far as the engine uses it."""

    def append(self, session_id: str, blocks: list[Block]) -> None: ...

    def mark(self, session_id: str, mark: Mark) -> None: ...

    def alert(self, session_id: str, alert: dict) -> None: ...

    def findings(self, session_id: str, findings: dict) -> None: ...


@dataclass(slots=True)
class Run:
    """What the engine works on: a session, or (session_id None) the time between two."""

    pipeline: Pipeline
    time: SessionTime
    session_id: str | None = None


@dataclass(slots=True)
class _Order:
    """Something to be done between two looks, and where its result goes."""

    work: Callable[[Run], object]
    done: Future


class Engine:
    """begin: makes the first run, in the engine's thread; readings wait meanwhile. dress: adds to a snapshot what the
    pipeline does not know. on_look: called with (run, host time) after readings went in. on_alerts: called with the
    standing alerts when one has changed.
    """

    def __init__(
        self,
        clock: Clock,
        keeper: Keeper,
        feed: Feed,
        begin: Callable[[], Run],
        dress: Callable[[dict], dict],
        on_look: Callable[[Run, float], None] = lambda run, host_s: None,
        on_alerts: Callable[[list[dict]], None] = lambda alerts: None,
    ):
        self._clock, self._keeper, self._feed = clock, keeper, feed
        self._begin, self._dress, self._on_look, self._on_alerts = begin, dress, on_look, on_alerts
        self._inbox: queue.Queue[list[Block] | _Order] = queue.Queue(MOST_WAITING)
        self._stop = threading.Event()
        self._ready: Future = Future()
        self._next_snapshot = 0.0
        self._run: Run | None = None
        self._shown: dict = {}
        self._shown_s = 0.0
        self.turns = self.failures = 0
        self._thread = threading.Thread(target=self._loop, name="engine", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def wait_ready(self, timeout_s: float) -> None:
        """Wait until the first run has been made. Raises what kept it from being made."""
        self._ready.result(timeout_s)

    def stop(self) -> None:
        """Work off what is waiting, then end."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(2)

    def alive(self) -> bool:
        return self._thread.is_alive()

    def hand_on(self, blocks: list[Block]) -> None:
        """From a source's thread: readings in host time. Waits when the engine is far behind; drops nothing."""
        while not self._stop.is_set():
            try:
                return self._inbox.put(blocks, timeout=0.5)
            except queue.Full:
                continue
        return None

    def now(self) -> dict:
        """The latest snapshot."""
        return self._shown

    def trouble(self) -> str:
        """Why what is shown cannot be believed to be of now; empty when it can."""
        if not self.alive():
            return "the thread that judges readings has ended: restart the logger"
        behind_s = time.monotonic() - self._shown_s
        return f"nothing has been judged for {behind_s:.0f} s" if behind_s > LATE_S else ""

    def call(self, work: Callable[[Run], T]) -> T:
        """Have `work` done by the engine's thread between two looks; what it returns or raises. EngineEnded at the end
        of the program."""
        if not self.alive():
            raise EngineEnded("the logger is ending: start it again")
        done: Future = Future()
        self._inbox.put(_Order(work, done), timeout=CALL_TIMEOUT_S)
        return done.result(CALL_TIMEOUT_S)

    # --- for `work` given to `call`

    def replace(self, run: Run) -> None:
        """Go on with another run."""
        self._run = run
        self._on_alerts([alert.to_json() for alert in run.pipeline.alerts.standing()])

    def mark(self, run: Run, mark: str, detail: dict) -> float:
        """Keep a mark and take it in; its session time."""
        told = Mark(run.time.mark(self._clock.now()), mark, detail)
        if run.session_id is not None:
            self._keeper.mark(run.session_id, told)
        self.publish(run, run.pipeline.mark(told))
        return told.t_s

    def signal(self, run: Run, signal: Signal, subject: str = "", t_s: float | None = None) -> None:
        """An alert that no reading tells of begins or ends."""
        t_s = run.time.mark(self._clock.now()) if t_s is None else t_s
        self.publish(run, run.pipeline.raise_alert(t_s, signal, subject))

    def show(self, run: Run, alert: Alert) -> None:
        """Tell viewers of an alert that the record knows already."""
        self._feed.publish("alert", clean({**alert.to_json(), "session_id": run.session_id}))

    def publish(self, run: Run, events: list[Event]) -> None:
        """Tell viewers and the record what happened."""
        for event in events:
            self._feed.publish(event.kind, clean({**event.data, "t_s": event.t_s, "session_id": run.session_id}))
            if event.kind == "alert" and run.session_id is not None:
                self._keeper.alert(run.session_id, event.data)
        if any(event.kind == "alert" for event in events):
            self._on_alerts([alert.to_json() for alert in run.pipeline.alerts.standing()])

    # --- the thread

    def _loop(self) -> None:
        try:
            self.replace(self._begin())
            self._snapshot()
        except Exception as error:
            self._ready.set_exception(error)
            return
        self._ready.set_result(None)
        while not (self._stop.is_set() and self._inbox.empty()):
            self.turns += 1
            blocks, order = self._gather()
            if blocks:
                self._guarded(lambda blocks=blocks: self._take(blocks))
            if order is not None:
                self._obey(order)
            elif time.monotonic() >= self._next_snapshot:
                self._guarded(self._pass_time)

    def _gather(self) -> tuple[list[Block], _Order | None]:
        """The readings that have come, up to the first order."""
        blocks: list[Block] = []
        try:
            item = self._inbox.get(timeout=max(self._next_snapshot - time.monotonic(), 0.001))
            if isinstance(item, list):
                self._stop.wait(GATHER_S)
            while not isinstance(item, _Order):
                blocks += item
                item = self._inbox.get_nowait()
            return blocks, item
        except queue.Empty:
            return blocks, None

    def _take(self, blocks: list[Block]) -> None:
        run = self._run
        merged = run.time.merge(blocks)
        if not merged:
            return
        if run.session_id is not None:
            self._keeper.append(run.session_id, merged)
        self.publish(run, run.pipeline.feed(merged))
        self._on_look(run, self._clock.now())

    def _pass_time(self) -> None:
        run = self._run
        silent_t_s = run.time.silence(self._clock.now())
        if silent_t_s is not None:
            self.publish(run, run.pipeline.advance(silent_t_s))
        self._snapshot()

    def _snapshot(self) -> None:
        run = self._run
        self._next_snapshot = time.monotonic() + SNAPSHOT_PERIOD_S
        self._shown = self._dress(clean(run.pipeline.now(run.time.of(self._clock.now()))))
        self._shown_s = time.monotonic()
        self._feed.publish("now", self._shown)

    def _obey(self, order: _Order) -> None:
        """The snapshot is renewed before the one who ordered learns that it is done."""
        try:
            result = order.work(self._run)
        except Exception as error:
            order.done.set_exception(error)
            return
        self._guarded(self._snapshot)
        order.done.set_result(result)

    def _guarded(self, step: Callable[[], None]) -> None:
        """A defect in judging must not end the keeping: what failed is logged and counted, and the next look comes."""
        try:
            step()
        except Exception:
            self.failures += 1
            log.exception("a look failed")
