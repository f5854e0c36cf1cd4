"""A source's thread: each kind of error has its own wait, and none of them ends it."""

from __future__ import annotations

import threading

import numpy as np

from firmware_bridge.blocks import Block
from firmware_bridge.clock import Clock
from firmware_bridge.source import SourceError
from logger.source_thread import CLOSED_WAIT_S, DEFECT_WAIT_S, GONE_WAIT_S, LONGEST_CLOSED_WAIT_S, SourceThread

BLOCK = Block("scale", np.array([1.0]), np.array([2.0]), None)


class Waits(threading.Event):
    """Notes how long it was asked to wait, and hardly does; sets itself when the script is over."""

    def __init__(self):
        super().__init__()
        self.asked = []

    def wait(self, timeout=None):
        self.asked.append(timeout)
        return super().wait(0.001)


class ScriptedSource:
    """Does what its script says, a word at each `open` and at each `read`."""

    name, channels = "scripted", ("scale",)

    def __init__(self, script, stop):
        self.script, self.stop, self.closed = list(script), stop, 0

    def open(self):
        self._next("open")

    def read(self, timeout_s):
        assert timeout_s > 0
        return self._next("read")

    def close(self):
        self.closed += 1

    def _next(self, place):
        if not self.script:
            self.stop.set()
            raise SourceError("the script is over")
        word = self.script.pop(0)
        if word == "gone":
            raise SourceError(f"gone at {place}")
        if word == "broken":
            raise KeyError(place)
        return [BLOCK] if word == "block" else []


def run(*script):
    stop, handed = Waits(), []
    source = ScriptedSource(script, stop)
    thread = SourceThread(source, handed.extend, Clock(), stop)
    thread.start()
    thread.join(20)
    return stop.asked[:-1], handed, source, thread


def test_what_cannot_be_opened_is_tried_ever_more_rarely():
    waits, handed, source, _ = run(*["gone"] * 8)
    assert waits[0] == CLOSED_WAIT_S and waits == sorted(waits) and waits[-1] == LONGEST_CLOSED_WAIT_S
    assert not handed and source.closed == 9


def test_what_went_while_it_was_read_is_tried_again_soon_and_patience_is_new():
    waits, handed, _, _ = run("gone", "gone", "open", "nothing", "block", "gone", "gone")
    assert waits == [CLOSED_WAIT_S, 2 * CLOSED_WAIT_S, GONE_WAIT_S, CLOSED_WAIT_S]
    assert handed == [BLOCK]


def test_a_broken_driver_is_named_and_goes_on_after_a_pause():
    waits, handed, source, thread = run("open", "broken", "open", "block", "broken")
    assert waits == [DEFECT_WAIT_S, DEFECT_WAIT_S]
    assert handed == [BLOCK] and source.closed == 3


def test_silence_is_no_error():
    waits, _, source, _ = run("open", *["nothing"] * 20)
    assert waits == [] and source.closed == 1
