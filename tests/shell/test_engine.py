"""The engine's thread outlives what it calls: a defect in judging costs no reading."""

from __future__ import annotations

import numpy as np
import pytest
from bench_cart import until

from firmware_bridge.blocks import Block
from firmware_bridge.clock import Clock
from logger.engine import Engine, EngineEnded, Run
from logger.publish.feed import Feed
from logger.session.pipeline import Pipeline
from logger.session.setup import ChannelInfo, SessionSetup
from logger.session_time import SessionTime

SETUP = SessionSetup.from_json({"session_id": "s-1"})


class Kept(list):
    """A keeper that remembers the readings."""

    def append(self, session_id, blocks):
        self.extend(value for block in blocks for value in block.value.tolist())

    def mark(self, session_id, mark): ...

    def alert(self, session_id, alert): ...

    def findings(self, session_id, findings): ...


class Brittle(Pipeline):
    """Breaks at every third look."""

    looks = 0

    def feed(self, blocks):
        self.looks += 1
        if self.looks % 3 == 0:
            raise ZeroDivisionError("a defect")
        return super().feed(blocks)


@pytest.fixture
def engine_with():
    engines = []

    def make(begin):
        kept, clock = Kept(), Clock()
        engine = Engine(clock, kept, Feed(), lambda: begin(clock), lambda now: now)
        engines.append(engine)
        engine.start()
        return engine, kept, clock

    yield make
    for engine in engines:
        engine.stop()


def brittle_run(clock):
    return Run(Brittle(SETUP, {"scale": ChannelInfo("g", 10.0)}, {}), SessionTime(clock.now()), "s-1")


def test_a_defect_in_judging_costs_no_reading(engine_with):
    engine, kept, clock = engine_with(brittle_run)
    engine.wait_ready(20)
    for number in range(12):
        engine.hand_on([Block("scale", np.array([clock.now()]), np.array([float(number)]), None)])
        until(lambda number=number: len(kept) > number)
    assert list(kept) == [float(n) for n in range(12)]
    assert engine.failures >= 2 and engine.alive()


def test_an_order_that_fails_tells_the_one_who_gave_it_and_the_thread_goes_on(engine_with):
    engine, _, _ = engine_with(brittle_run)
    with pytest.raises(KeyError):
        engine.call(lambda run: {}["none"])
    assert engine.call(lambda run: run.session_id) == "s-1"


def test_a_beginning_that_fails_is_told_to_the_one_who_waits(engine_with):
    def begin(clock):
        raise OSError("the record cannot be read")

    engine, _, _ = engine_with(begin)
    with pytest.raises(OSError, match="record"):
        engine.wait_ready(20)
    until(lambda: not engine.alive())
    with pytest.raises(EngineEnded):
        engine.call(lambda run: None)


def test_readings_handed_on_before_the_end_are_kept(engine_with):
    engine, kept, clock = engine_with(brittle_run)
    engine.wait_ready(20)
    for number in range(50):
        engine.hand_on([Block("scale", np.array([clock.now()]), np.array([float(number)]), None)])
    engine.stop()
    assert list(kept) == [float(n) for n in range(50)]
