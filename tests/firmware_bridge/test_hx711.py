"""The load cell at the pins: faults of chip, wire and process; none may hang the reader or become a reading."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from source_rigs import Rig, channel, hx711_rig

from firmware_bridge.blocks import INVALID_CODE
from firmware_bridge.clock import Clock
from firmware_bridge.hx711_cell import Hx711Source
from firmware_bridge.source import SourceError
from firmware_bridge.virtual.hx711_chip import Hx711Chip


@pytest.fixture
def make_rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Rig]]:
    rigs = []

    def make(**options: Any) -> Rig:
        rigs.append(hx711_rig(tmp_path, **options))
        for name, value in rigs[-1].parts["wire"].environment.items():
            monkeypatch.setenv(name, value)
        rigs[-1].source.open()
        return rigs[-1]

    yield make
    for rig in rigs:
        rig.source.close()
        rig.end()


@pytest.fixture
def rig(make_rig: Callable[..., Rig]) -> Rig:
    rig = make_rig()
    rig.watch_codes(3)
    return rig


@pytest.mark.parametrize("code", [0x7FFFFE, -0x7FFFFF, -2, 1, 123456])
def test_codes_up_to_the_rails_are_read_exactly(rig: Rig, code: int):
    rig.say(code)
    rig.watch_code(code)
    assert set(rig.watch_codes(5)) == {code}


@pytest.mark.parametrize("rail", [0x7FFFFF, -0x800000])
def test_saturation_is_told_from_a_missing_chip(rig: Rig, rail: int):
    rig.say(rail)
    rig.watch_code(INVALID_CODE)
    assert "saturated" in rig.health().reason
    rig.say(7)
    rig.watch_code(7)
    assert rig.health().quality == "good"


@pytest.mark.parametrize(("fault", "words"), [("stuck-high", "DOUT stays high"), ("stuck-low", "DOUT stays low")])
def test_a_stuck_wire_is_named_and_outlived(rig: Rig, fault: str, words: str):
    rig.parts["wire"].fault = fault
    rig.watch(lambda _: words in rig.health().reason)
    assert rig.health().quality == "fault"
    rig.revive()
    assert (rig.watch_codes(5) == 1000).all()
    assert rig.source.counters()["died"] == 0


def test_a_wire_stuck_low_is_not_a_true_zero(rig: Rig):
    rig.say(0)
    rig.watch_code(0)
    rig.parts["wire"].fault = "stuck-low"
    rig.watch(lambda _: rig.health().quality == "fault")
    readings = rig.health().readings
    rig.watch(lambda _: rig.source.counters()["stuck-low"] >= 10)
    assert rig.health().readings == readings


def test_pulses_that_last_too_long_give_no_wrong_word(rig: Rig):
    """Without the guard some of these frames come out shifted."""
    rig.say(0x2AAAAA)
    rig.watch_code(0x2AAAAA)
    rig.parts["wire"].stall_every = 503
    blocks = rig.watch(lambda _: rig.source.counters()["aborted"] >= 12)
    codes = np.concatenate([block.code for block in blocks])
    assert len(codes) > 50
    assert set(codes) == {0x2AAAAA}


def test_a_hung_process_is_ended_and_started_again(rig: Rig):
    rig.kill()
    assert "no reading for" in rig.watch_quality("stale").reason
    rig.watch(lambda _: rig.source.counters()["hung"] == 1)
    rig.revive()
    rig.watch_quality("good")
    assert rig.source.counters()["started"] >= 2


def test_a_killed_process_is_started_again(rig: Rig):
    os.kill(rig.source._process.pid, signal.SIGKILL)
    rig.watch(lambda _: rig.source.counters()["died"] == 1)
    assert (rig.watch_codes(2) == 1000).all()


def test_the_process_ends_when_nobody_listens_any_more(rig: Rig):
    process = rig.source._process
    process.stdout.close()
    process.wait(20)
    rig.source._process = None


def test_gain_64_reads_the_same_input(make_rig: Callable[..., Rig]):
    rig = make_rig(gain=64)
    assert (rig.watch_codes(3) == 1000).all()


def test_ten_readings_a_second(make_rig: Callable[..., Rig]):
    rig = make_rig(rate_hz=10.0)
    blocks = rig.watch(lambda got: sum(map(len, got)) >= 12)
    steps = np.diff(np.concatenate([block.t_s for block in blocks]))
    assert np.median(steps) == pytest.approx(0.1, abs=0.02)


def test_a_machine_without_gpio_is_named():
    pins = {"dout_pin": 5, "sck_pin": 6, "gain": 128}
    source = Hx711Source(
        {"scale": channel("scale", "hx711", 10.0, options=pins)}, Clock(), gpio_module="no_such_gpio_module"
    )
    source.open()
    with pytest.raises(SourceError, match="No module named 'no_such_gpio_module'"):
        for _ in range(200):
            assert source.read(0.1) == []
    source.close()
    assert source.counters()["died"] == 1


class Hand:
    """A chip whose clock is turned by hand, and a host that shifts words out of it."""

    def __init__(self, code: int):
        self.t_s = 0.0
        self.chip = Hx711Chip(lambda channel: code if channel == ("A", 128) else code + 1, 80.0, lambda: self.t_s)

    def pulse(self, high_s: float = 1e-6) -> int:
        self.chip.clock(True)
        bit = self.chip.dout()
        self.t_s += high_s
        self.chip.clock(False)
        self.t_s += 1e-6
        return bit

    def word(self, pulses: int) -> int:
        bits = [self.pulse() for _ in range(pulses)]
        return int("".join(map(str, bits[:24])), 2)


def test_the_emulated_chip_keeps_the_data_sheets_times():
    """HX711 data sheet: 400 ms / 50 ms output settling (four conversions), DOUT high after pulse 25, power-down above
    60 us, 27 pulses choose gain 64."""
    hand = Hand(0x123456)
    hand.t_s = 0.0499
    assert hand.chip.dout() == 1
    hand.t_s = 0.0501
    assert hand.chip.dout() == 0
    assert hand.word(25) == 0x123456
    assert hand.chip.dout() == 1
    hand.t_s += 0.0125
    assert hand.word(27) == 0x123456
    hand.t_s += 0.0375
    assert hand.chip.dout() == 1
    hand.t_s += 0.0130
    assert hand.word(27) == 0x123457
    hand.pulse(high_s=61e-6)
    assert hand.chip.power_downs == 1
    hand.t_s += 0.0501
    assert hand.word(25) == 0x123456
