"""The serial link ill in every way, through the real daemon on a pseudo-terminal: it is named within seconds, it heals
by itself, no reading is made up, and what came is all in the record."""

from __future__ import annotations

import os
import time

import numpy as np
import pytest
from bench_cart import CODES_PER_G, GROSS_G, SETUP, BenchCart, until

from firmware_bridge.virtual.board_emulator import BoardEmulator
from logger.daemon import Daemon
from logger.measure.marks import Mark

STANDS_CODE = round(GROSS_G * CODES_PER_G)
TOLD_S = 5.0


@pytest.fixture
def cart(tmp_path):
    bench = BenchCart(tmp_path / "cart")
    daemon = Daemon(bench.cart(), tmp_path / "data", clock=bench.clock, open_setup=SETUP)
    daemon.start()
    until(lambda: quality(daemon) == "good")
    yield bench, daemon
    daemon.stop()
    bench.stop()


def quality(daemon: Daemon) -> str:
    return daemon.port.now()["channels"]["scale"]["quality"]


def tear(board: BoardEmulator) -> None:
    board.tear(12)


def flip(board: BoardEmulator) -> None:
    board.flip_bits(12)


def lose(board: BoardEmulator) -> None:
    board.lose(40)


def flood(board: BoardEmulator) -> None:
    """Two hundred kilobytes of noise that never sends a line end, then some that does."""
    rng = np.random.default_rng(5)
    for piece in rng.integers(0, 256, (50, 4000), np.uint8):
        with board._lock:
            os.set_blocking(board._master, False)
            board._write(piece.tobytes().replace(b"\n", b"$"))
        time.sleep(0.01)
    board._write(b"\n")


def reset(board: BoardEmulator) -> None:
    board.reset()


BRIEF = [tear, flip, lose, flood, reset]


@pytest.mark.parametrize("fault", BRIEF, ids=lambda f: f.__name__)
def test_a_brief_fault_heals_by_itself_and_makes_no_reading_up(cart, fault):
    bench, daemon = cart
    fault(bench.board)
    before = daemon.port.now()["t_s"]
    until(lambda: quality(daemon) == "good" and daemon.port.now()["t_s"] > before + 1.0)
    assert set(kept_codes(daemon)) == {STANDS_CODE}
    assert daemon.port.now()["links"]["board"] == "ok"


def unplug(board: BoardEmulator) -> None:
    board.unplug()


def hang(board: BoardEmulator) -> None:
    board.silence(True)


def replug(board: BoardEmulator) -> None:
    board.replug()


def wake(board: BoardEmulator) -> None:
    board.silence(False)


@pytest.mark.parametrize(("fault", "mend"), [(unplug, replug), (hang, wake)], ids=["unplugged", "silent"])
def test_a_lasting_fault_is_a_danger_told_in_time_and_ends_with_it(cart, fault, mend):
    bench, daemon = cart
    began_s = daemon.port.now()["t_s"]
    fault(bench.board)
    alert = until(lambda: [a for a in daemon.port.now()["alerts"] if a["code"] == "sensor-stale"])[0]
    assert alert["severity"] == "danger" and alert["subject"] == "scale"
    assert alert["t_s"] - began_s <= TOLD_S
    mend(bench.board)
    until(lambda: quality(daemon) == "good")
    until(lambda: not [a for a in daemon.port.now()["alerts"] if a["subject"] == "scale"])
    assert set(kept_codes(daemon)) == {STANDS_CODE}


def test_a_board_put_back_as_another_device_is_found_by_its_stable_name(cart):
    """Another program took the device's number meanwhile, as it happens on USB."""
    bench, daemon = cart
    before = os.path.realpath(bench.board.port)
    bench.board.unplug()
    until(lambda: quality(daemon) != "good")
    taken = [os.openpty() for _ in range(3)]
    bench.board.replug()
    assert os.path.realpath(bench.board.port) != before
    until(lambda: quality(daemon) == "good")
    assert set(kept_codes(daemon)) == {STANDS_CODE}
    for descriptor in sum(taken, ()):
        os.close(descriptor)


def test_a_board_that_sends_noise_at_another_baud_rate_is_named(tmp_path):
    """What arrives at a wrong baud rate are bytes of no meaning; the board's identity never comes."""
    bench = BenchCart(tmp_path / "cart")
    bench.board._damage = lambda line: bytes((byte * 37 + 11) & 0xFF for byte in line)
    daemon = Daemon(bench.cart(), tmp_path / "data", clock=bench.clock, open_setup=SETUP)
    daemon.start()
    until(lambda: "baud" in daemon.port.now()["links"]["board"])
    assert not kept_codes(daemon)
    daemon.stop()
    bench.stop()


def kept_codes(daemon: Daemon) -> list[int]:
    session_id = daemon.port.now()["session_id"]
    daemon.port._recorder.flush()
    items = [item for item in daemon.port.store.batches(session_id) if not isinstance(item, Mark)]
    return [code for blocks in items for b in blocks if b.channel == "scale" for code in b.code.tolist()]
