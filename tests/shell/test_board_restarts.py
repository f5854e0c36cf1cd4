"""A board that begins anew is told of for a minute; a source that cannot restart is not mentioned."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from logger.board_restarts import TOLD_S, BoardRestarts


class Source:
    def __init__(self, name: str, **counters: int):
        self.name, self.counted = name, counters

    def counters(self) -> dict[str, int]:
        return dict(self.counted)


@pytest.fixture
def watch():
    board, probes, clock = Source("board", restarts=0), Source("onewire", readings=9), SimpleNamespace(s=100.0)
    return SimpleNamespace(board=board, clock=clock, restarts=BoardRestarts([board, probes], lambda: clock.s))


def told(watch) -> dict[str, bool]:
    return {subject: signal.active for subject, signal in watch.restarts.conditions()}


def test_a_restart_is_told_for_a_minute(watch):
    assert told(watch) == {"board": False}
    watch.board.counted["restarts"] = 1
    assert told(watch) == {"board": True}
    watch.clock.s += TOLD_S - 1
    assert told(watch) == {"board": True}
    watch.clock.s += 1
    assert told(watch) == {"board": False}


def test_another_restart_is_told_from_then_on(watch):
    watch.board.counted["restarts"] = 1
    told(watch)
    watch.clock.s += TOLD_S - 1
    watch.board.counted["restarts"] = 2
    told(watch)
    watch.clock.s += TOLD_S - 1
    assert told(watch) == {"board": True}
