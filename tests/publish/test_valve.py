"""The charging valve: opened only on an order, closed by everything else, and early by its own lag."""

from __future__ import annotations

import math
import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.clock import Clock
from logger.publish.valve import FRESH_S, HOLD_PERIOD_S, SHORTEST_WAIT_S, ValveKeeper, ValveView, decide, view_of

GOOD = ValveView(weighed_t_s=100.0, delivered_g=200.0, target_g=620.0, flow_g_per_s=8.0)


def snapshot(**changes):
    now = {
        "session_id": "s-1",
        "stage": "charging",
        "channels": {"scale": {"value": 1500.0, "unit": "g", "age_s": 0.1, "quality": "good"}},
        "charge": {"target_g": 620.0, "delivered_g": 200.0, "flow_g_per_s": 8.0},
        "alerts": [{"seq": 1, "code": "approaching-target", "severity": "notice"}],
    }
    return {**now, **changes}


def test_opens_only_on_an_order():
    assert decide(True, GOOD, 100.1, 0.4).open
    assert not decide(False, GOOD, 100.1, 0.4).open


@pytest.mark.parametrize(
    "changed",
    [
        {"weighed_t_s": 100.0 - FRESH_S},
        {"delivered_g": None},
        {"target_g": None},
        {"delivered_g": 620.0},
        {"delivered_g": 617.0},
        {"why_not": "high-side-high stands"},
    ],
)
def test_anything_amiss_closes_and_says_why(changed):
    fields = {name: getattr(GOOD, name) for name in GOOD.__slots__}
    decision = decide(True, ValveView(**{**fields, **changed}), 100.1, 0.4)
    assert not decision.open and decision.why


@pytest.mark.parametrize(
    "changes",
    [
        {"session_id": None},
        {"stage": "evacuation"},
        {"channels": {}},
        {"channels": {"scale": {"value": None, "unit": "g", "age_s": 0.1, "quality": "fault"}}},
        {"channels": {"scale": {"value": None, "unit": "g", "age_s": None, "quality": "good"}}},
        {"charge": None},
        {"alerts": [{"seq": 4, "code": "high-side-high", "severity": "danger"}]},
        {"alerts": [{"seq": 4, "code": "stop-charging", "severity": "notice"}]},
    ],
)
def test_a_snapshot_that_does_not_speak_for_charging_keeps_it_closed(changes):
    assert decide(True, view_of(snapshot(), 50.0), 50.0, 0.4).open
    assert not decide(True, view_of(snapshot(**changes), 50.0), 50.0, 0.4).open


finite = st.floats(-1e4, 1e4)


@given(st.booleans(), finite, finite | st.none(), finite | st.none(), st.floats(-50, 50), finite, st.floats(0, 5))
def test_open_means_ordered_fresh_and_short_of_the_target(ordered, weighed, delivered, target, flow, now, lag):
    decision = decide(ordered, ValveView(weighed, delivered, target, flow), now, lag)
    if decision.open:
        assert ordered and now - weighed < FRESH_S and delivered + max(flow, 0) * lag < target
        assert 0 < decision.good_for_s <= HOLD_PERIOD_S
    else:
        assert decision.why


@given(
    flow=st.floats(0.5, 25),
    lag=st.floats(0.05, 1.5),
    target=st.floats(100, 900),
    phase=st.floats(0, 0.1),
    rate=st.sampled_from([10, 80]),
)
def test_the_fill_lands_on_the_target_though_readings_come_ten_a_second(flow, lag, target, phase, rate):
    """Constant flow that goes on for `lag` after closing: the mass that passes is flow * (closing time + lag)."""
    lag = min(lag, target / flow / 2)
    opened_s, now, closed_s = 10.0, 10.0, None
    while closed_s is None and now < 10_000:
        weighed = math.floor((now - phase) * rate) / rate + phase
        passed = flow * max(weighed - opened_s, 0.0)
        decision = decide(True, ValveView(weighed, passed, target, flow if passed else 0.0), now, lag)
        if decision.open:
            now += max(min(decision.good_for_s, 0.1), SHORTEST_WAIT_S)
        else:
            closed_s = now
    landed = flow * (closed_s - opened_s + lag)
    assert abs(landed - target) <= flow * 0.02 + 1e-6


class Board:
    """Takes requests as the board would; one can wait for the next of a kind."""

    def __init__(self):
        self.asked = []
        self.changed = threading.Condition()
        self.dead = False
        self.refuses = False

    def request(self, **fields):
        with self.changed:
            self.asked.append(fields["valve"])
            self.changed.notify_all()
        if self.dead:
            raise OSError("gone")
        return not self.refuses

    def wait_for(self, predicate, timeout=20):
        with self.changed:
            return self.changed.wait_for(lambda: predicate(self.asked), timeout)


@pytest.fixture
def keeper():
    board, clock = Board(), Clock(speed=4.0)
    kept = ValveKeeper(board.request, clock, lag_s=0.4)
    kept.start()
    feeding = threading.Event()

    def feed(kept=kept, clock=clock):
        while not feeding.wait(0.02):
            kept.look(ValveView(clock.now(), 100.0, 600.0, 0.0))

    feeder = threading.Thread(target=feed)
    feeder.start()
    yield kept, board, clock, lambda: (feeding.set(), feeder.join())
    feeding.set()
    feeder.join()
    kept.stop()


def order_when_weighed(kept):
    for _ in range(200):
        if kept.order(True).open:
            return
        threading.Event().wait(0.01)
    raise AssertionError("the order was never taken")


def test_held_by_repeated_requests_and_closed_when_readings_end(keeper):
    kept, board, _, end_readings = keeper
    order_when_weighed(kept)
    assert board.wait_for(lambda asked: asked.count(1) >= 4)
    assert kept.state() == {"open": True, "why": ""}
    end_readings()
    assert board.wait_for(lambda asked: asked[-1] == 0)
    assert board.asked.count(0) == 1


def test_a_closing_spends_the_order(keeper):
    kept, board, clock, end_readings = keeper
    order_when_weighed(kept)
    end_readings()
    assert board.wait_for(lambda asked: asked[-1:] == [0])
    count = len(board.asked)
    for _ in range(20):
        kept.look(ValveView(clock.now(), 100.0, 600.0, 0.0))
        threading.Event().wait(0.02)
    assert len(board.asked) == count and not kept.state()["open"]
    assert kept.state()["why"] == "readings are not fresh"


def test_an_order_that_cannot_be_kept_is_refused_and_never_reaches_the_board():
    board, clock = Board(), Clock()
    kept = ValveKeeper(board.request, clock, lag_s=0.4)
    kept.start()
    kept.look(ValveView(clock.now(), 600.0, 600.0, 0.0))
    decision = kept.order(True)
    kept.stop()
    assert not decision.open and decision.why == "target reached"
    assert board.asked == []


def test_stopping_the_program_closes_it(keeper):
    kept, board, _, _ = keeper
    order_when_weighed(kept)
    assert board.wait_for(lambda asked: 1 in asked)
    kept.stop()
    assert board.asked[-1] == 0


def test_a_board_that_has_gone_does_not_end_the_keeper(keeper):
    kept, board, _, _ = keeper
    board.dead = True
    order_when_weighed(kept)
    assert board.wait_for(lambda asked: asked.count(1) >= 3)


@pytest.mark.parametrize("fault", ["dead", "refuses"])
def test_a_valve_the_board_does_not_keep_open_opens_again_only_on_an_order(keeper, fault):
    kept, board, _, _ = keeper
    order_when_weighed(kept)
    setattr(board, fault, True)
    assert board.wait_for(lambda asked: asked[-1:] == [0])
    setattr(board, fault, False)
    for _ in range(200):
        if kept.state()["why"]:
            break
        threading.Event().wait(0.01)
    assert kept.state() == {"open": False, "why": "the board does not keep it open"}
    count = board.asked.count(1)
    threading.Event().wait(0.5)
    assert board.asked.count(1) == count
    order_when_weighed(kept)
    assert board.wait_for(lambda asked: asked.count(1) > count)
