"""The port of a running cart: what the pages and the commands may ask, done by the engine's thread and the store."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from firmware_bridge.cart import Cart
from firmware_bridge.clock import Clock
from firmware_bridge.source import Source
from logger import container_notices
from logger.engine import Engine, Run
from logger.learned_lag import learn, learned
from logger.measure.atmosphere import Ambient, ambient_pressure
from logger.measure.marks import MARKS, STAGES, Mark
from logger.measure.ticks import Signal
from logger.pairing import Pairing
from logger.port import NoSessionError
from logger.publish.feed import Feed
from logger.publish.valve import ValveKeeper
from logger.recent_sensors import RecentSensors
from logger.record.importing import import_recording
from logger.record.marks_csv import check_mark
from logger.record.recorder import Recorder
from logger.record.store import Store
from logger.record_desk import RecordDesk
from logger.resume import clock_origin
from logger.scale_desk import ScaleDesk
from logger.session.pipeline import Pipeline
from logger.session.setup import SessionSetup, channel_infos
from logger.session_defaults import channels_of, filled_in
from logger.session_time import SessionTime
from logger.wallclock import WallClock, to_text

CLEARED_BY_ACK = ("power-was-lost", container_notices.CODE)
"""Alerts of something that is over: they stand until a person has seen them."""
FLUSH_S = 5.0


class RunningCart:
    """A CartPort (`logger.port`); `attach` gives it the engine before it is used."""

    def __init__(
        self,
        cart: Cart,
        store: Store,
        recorder: Recorder,
        feed: Feed,
        pairing: Pairing,
        clock: Clock,
        wall: WallClock,
        valve: ValveKeeper | None,
        scale: ScaleDesk,
        sensors: RecentSensors,
    ):
        self.feed, self.pairing, self.store = feed, pairing, store.reader()
        self.scale, self.sensors = scale, sensors
        self.desk = RecordDesk(store, wall, self.mark)
        self._cart, self._writer, self._recorder = cart, store, recorder
        self._clock, self._wall, self._valve = clock, wall, valve
        self._engine: Engine | None = None
        self._sources: Sequence[Source] = ()
        self._changing, self._importing = threading.Lock(), threading.Lock()
        self._last_findings: dict | None = next((found for _, found in self.store.all_findings(1)), None)

    def attach(self, engine: Engine, sources: Sequence[Source], health: Callable[[], dict[str, str]]) -> None:
        """The engine that has the pipeline, the sources whose readings it gets, and how the logger's parts fare."""
        self._engine, self._sources, self.health = engine, sources, health

    def now(self) -> dict:
        return self._engine.now()

    def ambient(self) -> Ambient:
        barometer = self.now()["channels"].get("barometer") or {}
        reads = barometer.get("value") if barometer.get("quality") == "good" else None
        return ambient_pressure(reads, self._cart.altitude_m)

    def counters(self) -> dict[str, dict[str, int]]:
        recorder, engine = self._recorder.state, self._engine
        counted = {
            "engine": {"turns": engine.turns, "failures": engine.failures},
            "recorder": {"beats": recorder.beats, "readings": recorder.readings, "refused": recorder.refused},
        }
        for source in self._sources:
            counted[source.name] = dict(source.counters())
            for health in source.health():
                counted[f"channel {health.channel}"] = {"readings": health.readings, "invalid": health.invalid}
        return counted

    def findings(self) -> dict | None:
        return self._engine.call(lambda run: run.pipeline.findings() if run.session_id else None)

    def last_findings(self) -> dict | None:
        """Those of the session closed last."""
        return self._last_findings

    def open_session(self, setup: Mapping) -> str:
        with self._changing:
            origin_s = self._clock.now()
            started = self._wall.text()
            check = self.scale.last_check()
            document = filled_in(setup, self._cart, learned(self.store, self._cart.id), check)
            channels = channels_of(self._cart)
            session_id = self._writer.create_session(document, channels, started, clock_origin(self._clock, origin_s))
            document |= {"session_id": session_id, "started_utc": started}
            pipeline = Pipeline(SessionSetup.from_json(document), channel_infos(channels), dict(self._cart.limits))
            self._engine.call(lambda _: self._begin(Run(pipeline, self._time(origin_s), session_id)))
            return session_id

    def close_session(self) -> dict | None:
        with self._changing:
            return self._close(tell=True)

    def mark(self, mark: Mapping) -> float:
        name, detail = str(mark.get("mark")), dict(mark.get("detail") or {})
        if name not in MARKS:
            raise ValueError(f"mark {name!r} is none of {', '.join(MARKS)}")
        if name == "stage" and detail.get("stage") not in STAGES:
            raise ValueError(f"stage {detail.get('stage')!r} is none of {', '.join(STAGES)}")
        if name == "ack":
            return self._ack(str(detail.get("code", "")))
        if name == "container_on":  # as forms send it
            told = {key: value for key, value in detail.items() if value != ""}
            detail = container_notices.with_ledger(self.store, told)
        if wrong := check_mark(Mark(0.0, name, detail)):
            raise ValueError(f"mark {name}: {wrong}")
        t_s = self._engine.call(lambda run: self._take(_open(run), name, detail))
        if detail.get("stage") == "closed":
            with self._changing:
                self._close(tell=False)
        return t_s

    def _take(self, run: Run, name: str, detail: dict) -> float:
        """In the engine's thread."""
        t_s = self._engine.mark(run, name, detail)
        if name == "container_on" and "label" in detail:
            container_notices.notice_label(self._engine, self.store, run, detail["label"].strip())
        return t_s

    def ack(self, code: str) -> None:
        self._ack(code)

    def order_valve(self, open_it: bool) -> dict:
        if self._valve is None:
            raise ValueError("this cart has no charging valve: add [valve] to its cart file")
        decision = self._valve.order(open_it)
        return {"open": decision.open, "why": decision.why}

    def import_recording(self, path: Path, findings: Mapping) -> str:
        with self._importing:
            session_id, is_new = import_recording(self._writer, path, findings)
        if is_new:
            container_notices.book(self._writer, session_id, findings)
            self._tell(session_id, False)
        return session_id

    def idle_run(self) -> Run:
        """The run between two sessions: values are shown and watched, nothing is kept."""
        pipeline = Pipeline(None, channel_infos(channels_of(self._cart)), dict(self._cart.limits))
        return Run(pipeline, self._time(self._clock.now()))

    def _time(self, origin_s: float) -> SessionTime:
        return SessionTime(origin_s, speed=self._clock.speed)

    def _begin(self, run: Run) -> None:
        self._engine.replace(run)
        self._tell(run.session_id, True)

    def _close(self, tell: bool) -> dict | None:
        done = self._engine.call(lambda run: self._end(run, tell))
        if done is None:
            return None
        session_id, findings = done
        self._recorder.flush(FLUSH_S)
        unbooked = container_notices.book(self._writer, session_id, findings)
        self._writer.close_session(session_id)
        self._last_findings = findings
        self._tell(session_id, False)
        learn(self._writer, self._cart.id)
        container_notices.notice_unbooked(self._engine, session_id, unbooked)
        return findings

    def _end(self, run: Run, tell: bool) -> tuple[str, dict] | None:
        """In the engine's thread: the last mark, the findings, and on to what is between sessions."""
        if run.session_id is None:
            return None
        if tell:
            self._engine.mark(run, "stage", {"stage": "closed"})
        findings = run.pipeline.findings()
        self._recorder.findings(run.session_id, findings)
        self._engine.replace(self.idle_run())
        return run.session_id, findings

    def _ack(self, code: str) -> float:
        def told(run: Run) -> float:
            if run.session_id is None and all(a.code != code for a in run.pipeline.alerts.standing()):
                raise NoSessionError(f"no alert {code!r} stands")
            standing = [a for a in run.pipeline.alerts.standing() if a.code == code and code in CLEARED_BY_ACK]
            t_s = self._engine.mark(run, "ack", {"code": code})
            for alert in standing:
                over = Signal(alert.code, alert.severity, False, alert.message)
                self._engine.signal(run, over, alert.subject, t_s)
            return t_s

        return self._engine.call(told)

    def _tell(self, session_id: str, is_open: bool) -> None:
        self.feed.publish("session", {"session_id": session_id, "open": is_open, "t_utc": to_text(self._wall.now())})


def _open(run: Run) -> Run:
    if run.session_id is None:
        raise NoSessionError("no session is open: open one first")
    return run
