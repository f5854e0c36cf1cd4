"""A part that has ended or stands still is named; one that merely waits is not."""

from __future__ import annotations

import pytest

from logger.liveness import BROKER_AWAY_S, CODE, STILL_S, GoesOn, Liveness, ended


class Part:
    def __init__(self):
        self.turns, self.lives = 0, True

    def alive(self) -> bool:
        return self.lives


@pytest.fixture
def time_s():
    return [100.0]


def test_a_part_that_stands_still_is_named_and_is_well_again_when_it_goes_on(time_s):
    part = Part()
    watch = GoesOn(part, lambda: time_s[0])
    time_s[0] += STILL_S - 1
    assert watch.trouble() == ""
    time_s[0] += 2
    assert "stood still for 21 s" in watch.trouble()
    part.turns += 1
    assert watch.trouble() == ""


def test_a_thread_that_has_ended_is_named_however_busy_it_was(time_s):
    part = Part()
    watch = GoesOn(part, lambda: time_s[0])
    part.turns, part.lives = 7, False
    assert "ended" in watch.trouble() and "ended" in ended(part)()


def active(liveness) -> dict:
    return {subject: signal.severity for subject, signal in liveness.conditions() if signal.active}


def test_parts_become_alerts_but_for_those_that_are_told_otherwise():
    troubles = {"engine": "hangs", "recorder": "late", "messages": "", "board": "has stood still"}
    liveness = Liveness({name: (lambda said=said: said) for name, said in troubles.items()})
    assert liveness.health() == {"engine": "hangs", "recorder": "late", "messages": "ok", "board": "has stood still"}
    assert active(liveness) == {"board": "caution"}
    assert {signal.code for _, signal in liveness.conditions()} == {CODE}


def test_a_broker_that_stays_away_is_a_notice_until_it_is_back(time_s):
    connected = [False]
    liveness = Liveness({}, lambda: connected[0], lambda: time_s[0])
    time_s[0] += BROKER_AWAY_S
    assert active(liveness) == {}
    time_s[0] += 1
    assert active(liveness) == {"broker": "notice"}
    connected[0] = True
    assert active(liveness) == {}
