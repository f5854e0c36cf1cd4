"""The board over a pseudo-terminal: what is lost, altered, silent, strange or anew, and what it is asked to do."""

from __future__ import annotations

import dataclasses
import os
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from source_rigs import Rig, board_rig, channel

from firmware_bridge.blocks import INVALID_CODE
from firmware_bridge.board import BoardSource
from firmware_bridge.clock import Clock
from firmware_bridge.frames import Frame, encode
from firmware_bridge.source import SourceError
from firmware_bridge.virtual.board_emulator import BoardEmulator


@pytest.fixture
def make_rig(tmp_path: Path) -> Iterator[Callable[..., Rig]]:
    rigs = []

    def make(**options: Any) -> Rig:
        rigs.append(board_rig(tmp_path, **options))
        rigs[-1].source.open()
        return rigs[-1]

    yield make
    for rig in rigs:
        rig.source.close()
        rig.end()


@pytest.fixture
def rig(make_rig: Callable[..., Rig]) -> Rig:
    rig = make_rig()
    rig.watch_codes(2)
    return rig


def asked(rig: Rig, **what: int) -> bool:
    """A request from another thread while this one reads."""
    answers: list[bool] = []
    asking = threading.Thread(target=lambda: answers.append(rig.source.request(**what)))
    asking.start()
    rig.watch(lambda _: bool(answers))
    asking.join()
    return answers[0]


def test_a_torn_line_costs_its_frame_only(rig: Rig):
    before = rig.source.counters()
    rig.parts["emulator"].tear()
    rig.watch(lambda _: rig.source.counters()["lost"] > before["lost"])
    after = rig.source.counters()
    assert (after["lost"] - before["lost"], after["bad_shape"] - before["bad_shape"]) == (1, 1)
    assert (rig.watch_codes(3) == 1000).all()


def test_a_flipped_bit_is_counted_and_never_read(rig: Rig):
    before = rig.source.counters()["dropped"]
    rig.parts["emulator"].flip_bits(5)
    rig.watch(lambda _: rig.source.counters()["dropped"] - before >= 5)
    assert (rig.watch_codes(3) == 1000).all()


def test_frames_that_never_came_are_counted(rig: Rig):
    before = rig.source.counters()["lost"]
    rig.parts["emulator"].lose(7)
    rig.watch(lambda _: rig.source.counters()["lost"] == before + 7)


def test_a_reset_is_noticed_and_time_goes_on(rig: Rig):
    rig.parts["emulator"].reset()
    restarts = rig.source.counters()["restarts"]
    seen = rig.watch(lambda got: rig.source.counters()["restarts"] > restarts and len(got) > 5)
    times = [t for block in seen for t in block.t_s]
    assert times == sorted(times)
    assert rig.clock.now() - times[-1] < 1.0
    assert rig.health().quality == "good"


def test_a_silent_board_is_stale_then_opened_anew(rig: Rig):
    emulator = rig.parts["emulator"]
    emulator.silence(True)
    assert "no reading for" in rig.watch_quality("stale").reason
    rig.watch(lambda _: rig.source.counters()["silences"] >= 1)
    assert "has been silent for" in rig.health().reason
    emulator.silence(False)
    rig.watch_quality("good")
    assert rig.source.counters()["opened"] >= 2


def test_a_pulled_cable_is_named_and_the_board_found_again(rig: Rig):
    rig.parts["emulator"].unplug()
    assert "board" in rig.watch_quality("stale").reason
    rig.parts["emulator"].replug()
    rig.watch_quality("good")


def test_one_dead_sensor_leaves_the_others(rig: Rig):
    rig.parts["codes"]["w"] = None
    assert rig.watch_quality("stale").reason.startswith("no reading for")
    assert rig.health("vent_temp").quality == "good"


@pytest.mark.parametrize(("fault", "word"), [(1, "not ready"), (2, "saturated"), (3, "open"), (4, "shorted")])
def test_a_sensor_the_board_calls_ill_gives_no_reading(rig: Rig, fault: int, word: str):
    rig.parts["emulator"].report_health(w=fault)
    assert word in rig.watch_quality("fault").reason
    assert (rig.watch_codes(2) == INVALID_CODE).all()
    rig.parts["emulator"].report_health(w=0)
    rig.watch_code(1000)
    assert rig.health().quality == "good"


def test_a_recovery_told_in_a_lost_frame_is_asked_for(rig: Rig):
    rig.parts["emulator"].report_health(w=3)
    rig.watch_quality("fault")
    rig.parts["emulator"].tear()
    rig.parts["emulator"].report_health(w=0)
    rig.watch_code(1000)
    assert rig.health().quality == "good"


@pytest.mark.parametrize("rail", [2**23 - 1, -(2**23)])
def test_a_load_cell_at_its_rail_is_saturated(rig: Rig, rail: int):
    rig.say(rail)
    assert rig.watch_quality("fault").reason == "saturated"
    rig.say(rail + (1 if rail < 0 else -1))
    rig.watch_code(rail + (1 if rail < 0 else -1))


def test_the_power_on_value_of_a_probe_is_no_temperature(rig: Rig):
    rig.watch_code(320, "vent_temp")
    rig.parts["codes"]["t1"] = 85 * 16
    assert "power-on" in rig.watch_quality("fault", "vent_temp").reason
    for code in (83 * 16 + 8, 84 * 16, 85 * 16):
        rig.parts["codes"]["t1"] = code
        rig.watch_code(code, "vent_temp")


def test_code_limits_tell_a_broken_wire(tmp_path: Path, make_rig: Callable[..., Rig]):
    rig = make_rig()
    rig.source.close()
    limited = dataclasses.replace(rig.parts["channels"]["scale"], code_min=50, code_max=2000)
    rig.source = BoardSource(rig.parts["emulator"].port, {"scale": limited}, rig.clock)
    rig.source.open()
    rig.watch_code(1000)
    rig.say(49)
    assert "code_min" in rig.watch_quality("fault").reason
    rig.say(2001)
    rig.watch(lambda _: "code_max" in rig.health().reason)
    rig.source.close()


def test_another_protocol_is_refused(make_rig: Callable[..., Rig]):
    rig = make_rig(proto=2)
    with pytest.raises(SourceError, match="speaks protocol 2, this program speaks 1"):
        for _ in range(100):
            assert rig.source.read(0.1) == []
    rig.source.close()
    assert "speaks protocol 2" in rig.health().reason
    rig.source.open()
    assert "speaks protocol 2" in rig.health().reason


def test_the_wrong_board_is_refused(make_rig: Callable[..., Rig]):
    rig = make_rig(board="left")
    rig.source.close()
    source = BoardSource(rig.parts["emulator"].port, rig.parts["channels"], rig.clock, board="right")
    source.open()
    with pytest.raises(SourceError, match="this is board 'left', the cart file asks for 'right'"):
        for _ in range(100):
            assert source.read(0.1) == []
    source.close()


def test_a_sensor_the_board_has_not_is_named(make_rig: Callable[..., Rig]):
    rig = make_rig()
    rig.source.close()
    rig.source = BoardSource(rig.parts["emulator"].port, {"vacuum": channel("vacuum", "board", 5.0, "va")}, rig.clock)
    rig.source.open()
    rig.watch(lambda _: rig.health("vacuum").quality == "fault")
    assert "no sensor 'va'" in rig.health("vacuum").reason
    rig.source.close()


def test_a_port_that_is_not_there_is_named(tmp_path: Path):
    source = BoardSource(str(tmp_path / "none"), {"scale": channel("scale", "board", 10.0, "w")}, Clock())
    with pytest.raises(SourceError, match="none cannot be opened: it is not there"):
        source.open()
    assert "cannot be opened" in source.health()[0].reason


def test_a_port_that_is_taken_is_refused(rig: Rig):
    other = BoardSource(rig.parts["emulator"].port, rig.parts["channels"], rig.clock)
    with pytest.raises(SourceError, match="another program has it"):
        other.open()


def test_requests_are_answered(rig: Rig):
    emulator = rig.parts["emulator"]
    assert asked(rig, beep=120)
    assert [ms for _, ms in emulator.beeps] == [120]
    assert asked(rig, rate=80)
    assert emulator.rates_hz["w"] == 80
    assert not asked(rig, rate=25)
    assert not asked(rig, valve=7)


def test_a_request_to_a_silent_or_closed_board_fails(rig: Rig):
    rig.parts["emulator"].silence(True)
    assert not asked(rig, beep=1)
    rig.source.close()
    assert not rig.source.request(beep=1)


def test_closing_the_port_frees_who_waits_for_an_answer(rig: Rig):
    rig.parts["emulator"].silence(True)
    answers: list[bool] = []
    asking = threading.Thread(target=lambda: answers.append(rig.source.request(beep=1)))
    asking.start()
    rig.source.close()
    asking.join(10)
    assert answers == [False]


def test_the_valve_closes_when_nobody_asks_any_more(rig: Rig):
    emulator = rig.parts["emulator"]
    assert asked(rig, valve=1) and emulator.valve_open
    assert asked(rig, valve=1) and asked(rig, valve=0) and not emulator.valve_open
    assert asked(rig, valve=1)
    rig.watch(lambda _: not emulator.valve_open)
    assert [opened for _, opened in emulator.valve_log] == [True, False, True, False]
    (_, _, (opened_s, _), (closed_s, _)) = emulator.valve_log
    assert closed_s - opened_s >= 1.0


def test_a_reset_closes_the_valve(rig: Rig):
    assert asked(rig, valve=1)
    rig.parts["emulator"].reset()
    assert not rig.parts["emulator"].valve_open


def test_the_load_cells_rate_is_set_as_the_cart_file_says(tmp_path: Path, make_rig: Callable[..., Rig]):
    rig = make_rig()
    rig.source.close()
    rig.source = BoardSource(rig.parts["emulator"].port, {"scale": channel("scale", "board", 80.0, "w")}, rig.clock)
    rig.source.open()
    rig.watch(lambda _: rig.parts["emulator"].rates_hz["w"] == 80)
    rig.source.close()


def test_a_fast_clock_reads_the_same(make_rig: Callable[..., Rig]):
    rig = make_rig(clock=Clock(12.0))
    codes = rig.watch_codes(200)
    assert (codes == 1000).all()
    assert rig.source.counters()["lost"] == 0
    assert rig.health().quality == "good"


def test_a_drifting_wrapping_board_clock_gives_true_times(tmp_path: Path, make_rig: Callable[..., Rig]):
    clock = Clock(8.0)
    began = clock.now()
    emulator = BoardEmulator(
        lambda _: int((clock.now() - began) * 1000), {"w": 20.0}, clock, tmp_path / "drift",
        drift_ppm=2000, first_micros=2**32 - 5_000_000,
    )  # fmt: skip
    emulator.start()
    rig = make_rig()
    rig.source.close()
    source = BoardSource(emulator.port, {"scale": channel("scale", "board", 20.0, "w")}, clock)
    rig.source = source
    source.open()
    blocks = rig.watch(lambda got: sum(len(block) for block in got) >= 600)
    source.close()
    emulator.stop()
    errors = sorted(t - began - c / 1000 for block in blocks for t, c in zip(block.t_s, block.code, strict=True))
    assert abs(errors[len(errors) // 2]) < 0.1
    assert source.counters()["clock_resets"] == 0


def test_what_never_says_who_it_is_is_refused_and_never_read():
    master, slave = os.openpty()
    tty.setraw(slave)
    source = BoardSource(os.ttyname(slave), {"scale": channel("scale", "board", 20.0, "w")}, Clock(20.0))
    source.open()
    with pytest.raises(SourceError, match="never says who it is"):
        for seq in range(4000):
            os.write(master, encode(Frame("SM", seq, seq * 1000, {"w": 5})))
            time.sleep(0.005)
            assert source.read(0.1) == []
    source.close()
    os.close(master)
    os.close(slave)
    assert source.counters()["unidentified"] > 0
