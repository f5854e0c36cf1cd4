"""The recorder loses nothing that it said was kept, and holds up nobody, whatever befalls process and disk."""

from __future__ import annotations

import json
import random
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from store_making import ALERT, CHANNELS, SETUP, assert_holds, look

from firmware_bridge.blocks import Block
from logger.measure.marks import Mark
from logger.record.opening import check
from logger.record.recorder import Recorder
from logger.record.store import Store, StoreReader

HERE = Path(__file__).parent


@pytest.fixture
def kept(tmp_path):
    """A store with an open session, and a recorder that runs."""
    store = Store.open(tmp_path / "tarebook.db")
    session_id = store.create_session(SETUP, CHANNELS, None, {})
    recorder = Recorder(store)
    recorder.start()
    yield store, recorder, session_id
    recorder.stop()
    store.close()


def wait_for(condition, seconds: float = 5.0) -> bool:
    """Look until it holds."""
    for _ in range(int(seconds / 0.01)):
        if condition():
            return True
        time.sleep(0.01)
    return condition()


def test_what_is_flushed_is_on_disk(kept):
    store, recorder, session_id = kept
    looks = [look(second) for second in range(5)]
    for blocks in looks:
        recorder.append(session_id, blocks)
    assert recorder.flush()
    assert_holds(store.reader(), session_id, looks)
    assert recorder.state.readings == sum(len(block) for blocks in looks for block in blocks)


def test_readings_come_to_disk_without_being_asked(kept):
    store, recorder, session_id = kept
    recorder.append(session_id, look(0))
    assert wait_for(lambda: list(store.reader().batches(session_id)))


def test_marks_and_alerts_are_kept_at_once(tmp_path):
    store = Store.open(tmp_path / "tarebook.db")
    session_id = store.create_session(SETUP, CHANNELS, None, {})
    recorder = Recorder(store, batch_s=600)
    recorder.start()
    recorder.mark(session_id, Mark(1.0, "purge"))
    assert wait_for(lambda: store.reader().marks(session_id))
    recorder.alert(session_id, ALERT)
    assert wait_for(lambda: store.reader().alerts(session_id))
    recorder.append(session_id, look(0))
    assert recorder.stop()
    assert list(store.reader().batches(session_id))
    store.close()


def test_it_beats_while_it_lives(kept):
    _, recorder, session_id = kept
    before = recorder.state.beats
    recorder.append(session_id, look(0))
    assert wait_for(lambda: recorder.state.beats > before)
    recorder.stop()
    assert not recorder.alive()


def test_one_bad_block_costs_itself_alone(kept):
    store, recorder, session_id = kept
    recorder.append(session_id, look(1))
    recorder.append(session_id, [Block("scale", np.array([0.5]), np.array([1.0]))])
    recorder.append("none", look(2))
    recorder.append(session_id, look(2))
    assert recorder.flush()
    assert recorder.state.refused == 2
    assert "session none is not open" in recorder.state.refusal
    assert_holds(store.reader(), session_id, [look(1), look(2)])


def test_killed_again_and_again_it_loses_nothing_that_was_kept(tmp_path):
    path, chance = tmp_path / "tarebook.db", random.Random(4)
    acknowledged, kills = [], 0
    while kills < 10 or (len(acknowledged) <= 100 and kills < 100):  # a busy machine keeps less between two kills
        kills += 1
        done = _record_and_kill(path, chance.uniform(0.02, 0.3))
        acknowledged += done
        check(path)
        assert _last_second(path) >= max(acknowledged, default=0)
    assert len(acknowledged) > 100
    assert_holds(StoreReader(path), "cart-1-00001", [look(k) for k in range(_last_second(path) + 1)])


def _last_second(path: Path) -> int:
    """Of the record, once the store has been opened: that brings out what was written in the moment of the kill."""
    Store.open(path).close()
    return int(StoreReader(path).recording("cart-1-00001").rows.t_s[-1])


def _record_and_kill(path: Path, after_s: float) -> list[int]:
    """The seconds that a process said were kept before it was killed."""
    command = [sys.executable, str(HERE / "keep_until_killed.py"), str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout.readline().startswith("cart-1-00001"), "it did not start"
        time.sleep(after_s)
        process.kill()
        lines = process.stdout.read().split("\n")
    return [int(line) for line in lines[:-1]]


def test_a_full_disk_stops_the_writing_and_nothing_else(tmp_path):
    path = tmp_path / "tarebook.db"
    command = [sys.executable, str(HERE / "keep_when_full.py"), str(path)]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    told = json.loads(ended.stdout)
    before, during, after = told["said"]
    assert before == {"flushed": True, "status": "writing", "reason": "", "alive": True}
    assert (during["flushed"], during["status"], during["alive"]) == (False, "full", True)
    assert "free some space; nothing is lost meanwhile" in during["reason"]
    assert after == {"flushed": True, "status": "writing", "reason": "", "alive": True}
    assert_holds(StoreReader(path), told["session_id"], [look(second) for second in range(25)])
