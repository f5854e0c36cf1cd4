"""The first run after a start: the session that was open, gone on with, or what is between two sessions."""

from __future__ import annotations

import logging
from collections.abc import Callable

from firmware_bridge.cart import Cart
from firmware_bridge.clock import Clock
from logger.container_notices import book
from logger.engine import Engine, Run
from logger.measure.ticks import Signal
from logger.record.recorder import Recorder
from logger.record.store import Store
from logger.resume import Continuation, clock_origin, gap_note, rebuild, resumed_run
from logger.session_defaults import channels_of
from logger.wallclock import WallClock

log = logging.getLogger(__name__)


def first_run(
    cart: Cart,
    store: Store,
    recorder: Recorder,
    engine: Engine,
    clock: Clock,
    wall: WallClock,
    idle: Callable[[], Run],
) -> Run:
    """Called by the engine's thread. A session that cannot be gone on with, such as one whose channels are no longer
    those of the cart file, is judged as it stands and closed."""
    session_id = store.open_session_id()
    if session_id is None:
        return idle()
    try:
        return _gone_on_with(session_id, cart, store, recorder, engine, clock, wall)
    except ValueError as error:
        log.error("session %s cannot be gone on with and is closed as it stands: %s", session_id, error)
        _close(store, session_id, cart)
        return idle()


def _gone_on_with(
    session_id: str, cart: Cart, store: Store, recorder: Recorder, engine: Engine, clock: Clock, wall: WallClock
) -> Run:
    reader = store.reader()
    kept = reader.session(session_id)
    if kept["channels"] != channels_of(cart):
        raise ValueError("the cart file's channels or calibrations are no longer those it was begun with")
    run, where, last_t_s = resumed_run(reader, session_id, cart.limits, clock, wall)
    log.info("session %s goes on; %s", session_id, gap_note(where, last_t_s))
    if where.power_was_lost or not where.gap_known:
        store.set_clock(session_id, kept["started_utc"], clock_origin(clock, run.time.origin_s))
    _tell(engine, recorder, run, where, last_t_s)
    return run


def _tell(engine: Engine, recorder: Recorder, run: Run, where: Continuation, last_t_s: float) -> None:
    """Alerts that the end may have kept from the disk are kept now; the gap is noted, a loss of power is an alert."""
    for alert in run.pipeline.alerts.all:
        recorder.alert(run.session_id, alert.to_json())
        engine.show(run, alert)
    t_s = engine.mark(run, "note", {"text": f"the logger was started anew; {gap_note(where, last_t_s)}"})
    if where.power_was_lost:
        message = f"Power was lost; {gap_note(where, last_t_s)}. Look at container, hose and valves before going on"
        engine.signal(run, Signal("power-was-lost", "caution", True, message), t_s=t_s)


def _close(store: Store, session_id: str, cart: Cart) -> None:
    """Judge it as far as it can be judged; its readings stay in the record whatever comes of that."""
    try:
        pipeline, _ = rebuild(store.reader(), session_id, cart.limits)
        findings = pipeline.findings()
        store.set_findings(session_id, findings)
        book(store, session_id, findings)
    except ValueError as error:
        log.error("session %s cannot be judged: %s", session_id, error)
    store.close_session(session_id)
