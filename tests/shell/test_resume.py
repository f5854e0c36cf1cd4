"""Going on after a kill or a loss of power: where time stands, and a pipeline that is as it was."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from firmware_bridge.blocks import Block
from firmware_bridge.clock import Clock
from logger.measure.marks import Mark
from logger.measure.ticks import Signal
from logger.record.store import Store
from logger.resume import boot_id, clock_origin, continuation, rebuild
from logger.session.pipeline import Pipeline
from logger.session.setup import SessionSetup, channel_infos
from logger.wallclock import WallClock, to_text

STARTED = datetime(2026, 5, 1, 9, 0, tzinfo=UTC)
OTHER_BOOT = {"boot_id": "another", "monotonic_s": 1.0, "speed": 1.0}


def wall(after_s, trusted=True):
    return WallClock(None, lambda: trusted, lambda: trusted, lambda: STARTED + timedelta(seconds=after_s))


def test_the_same_start_of_the_machine_goes_on_by_its_monotonic_clock():
    clock = Clock()
    origin = clock_origin(clock, clock.now() - 120.0)
    where = continuation(origin, 100.0, None, clock, wall(0, False))
    assert where.gap_known and not where.power_was_lost
    assert where.t_s == pytest.approx(time.monotonic() - origin["monotonic_s"], abs=1.0)
    assert where.t_s >= 120.0


def test_a_fast_clock_in_another_process_goes_on_at_the_same_pace():
    first = Clock(speed=20.0)
    origin = clock_origin(first, first.now() - 400.0)
    where = continuation(origin, 100.0, None, Clock(speed=20.0), wall(0, False))
    assert where.gap_known and where.t_s >= 400.0


def test_time_never_goes_back_behind_what_is_kept():
    clock = Clock()
    origin = clock_origin(clock, clock.now() - 50.0)
    assert continuation(origin, 5000.0, None, clock, wall(0)).t_s == 5000.0


@pytest.mark.parametrize(
    ("after_s", "trusted", "started", "t_s", "known"),
    [
        (1000.0, True, to_text(STARTED), 1000.0, True),
        (1000.0, False, to_text(STARTED), 600.0, False),
        (1000.0, True, None, 600.0, False),
        (-1000.0, True, to_text(STARTED), 600.0, False),
        (1e8, True, to_text(STARTED), 600.0, False),
    ],
)
def test_after_a_new_start_of_the_machine_the_wall_clock_tells_if_it_can_be_believed(
    after_s, trusted, started, t_s, known
):
    where = continuation(OTHER_BOOT, 600.0, started, Clock(), wall(after_s, trusted))
    assert (where.t_s, where.power_was_lost, where.gap_known) == (t_s, True, known)


def test_without_a_boot_id_power_counts_as_lost():
    assert continuation({}, 1.0, None, Clock(), wall(0)).power_was_lost


def test_the_machine_has_a_boot_id():
    assert boot_id() == boot_id() != ""


SETUP = {"refrigerant": "R-134a", "placard": {"low_g": 285, "high_g": 315}}
CHANNELS = {
    "scale": {"unit": "g", "rate_hz": 10.0, "points": None},
    "low_side": {"unit": "kPa", "rate_hz": 5.0, "points": None},
}
POWER = Signal("power-was-lost", "caution", True, "Power was lost")


def looks():
    """A fill of 40 s in looks of a second; the low side falls silent after 15 s, so that an alert rises by itself."""
    for second in range(40):
        t_s = np.round(second + np.arange(1, 11) / 10, 6)
        yield [Block("scale", t_s, 5000.0 - 5.0 * np.maximum(t_s - 10.0, 0.0))]
        if second < 15:
            yield [Block("low_side", np.full(3, second + 1.0), np.full(3, 250.0))]


@pytest.fixture
def store(tmp_path):
    store = Store.open(tmp_path / "store.db")
    yield store
    store.close()


def live(store, outside_at):
    """What a daemon does: keeps and judges, with alerts that no reading tells of at two moments."""
    session_id = store.create_session(SETUP, CHANNELS, None, {})
    setup = SessionSetup.from_json({**SETUP, "session_id": session_id})
    pipeline = Pipeline(setup, channel_infos(CHANNELS), {})
    events = pipeline.mark(Mark(0.0, "stage", {"stage": "charging"}))
    store.add_mark(session_id, Mark(0.0, "stage", {"stage": "charging"}))
    for number, blocks in enumerate(looks()):
        store.append(session_id, blocks)
        events += pipeline.feed(blocks)
        if number in outside_at:
            t_s = float(blocks[0].t_s[-1])
            events += pipeline.raise_alert(t_s, Signal(POWER.code, POWER.severity, outside_at[number], POWER.message))
    for event in events:
        if event.kind == "alert":
            store.add_alert(session_id, event.data)
    store.commit()
    return session_id, pipeline


@pytest.mark.parametrize(
    "outside_at", [{}, {4: True}, {4: True, 20: False}, {50: True}, {4: True, 20: False, 52: True}]
)
def test_rebuilt_from_the_record_it_is_as_it_was(store, outside_at):
    session_id, pipeline = live(store, outside_at)
    again, last_s = rebuild(store.reader(), session_id, {})
    assert last_s == 40.0
    assert again.findings() == pipeline.findings()
    assert again.now() == pipeline.now()
    codes = [alert.code for alert in again.alerts.all]
    assert codes.count("power-was-lost") == sum(outside_at.values()) and "sensor-stale" in codes
    assert [alert.to_json() for alert in again.alerts.all] == store.reader().alerts(session_id)


def test_nothing_kept_yet_begins_at_zero(store):
    session_id = store.create_session(SETUP, CHANNELS, None, {})
    store.commit()
    pipeline, last_s = rebuild(store.reader(), session_id, {})
    assert last_s == 0.0 and pipeline.now()["session_id"] == session_id
