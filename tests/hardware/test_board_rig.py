"""The real firmware, simulated from its pins to its serial port, read by the driver that reads a real board.

HX711 limits (clock high 0.2 to 50 us, power-down above 60 us) are its data sheet's."""

from __future__ import annotations

import contextlib
import threading
import time
from collections import defaultdict

import numpy as np
import pytest
import serial
from board_rig import Rig, wait_until

from firmware_bridge.blocks import INVALID_CODE, Block
from firmware_bridge.board import BoardSource
from firmware_bridge.channel import ChannelConfig
from firmware_bridge.clock import Clock
from firmware_bridge.frames import Decoder, Frame, encode
from firmware_bridge.source import SourceError

pytestmark = pytest.mark.timeout(90)

CHANNELS = {
    "scale": ChannelConfig("scale", "board", "g", ((0, 0.0), (420_000, 2000.0)), 80.0, "w"),
    "low_side": ChannelConfig("low_side", "board", "kPa", ((409, 0.0), (3683, 1000.0)), 10.0, "lo"),
    "high_side": ChannelConfig("high_side", "board", "kPa", ((409, 0.0), (3683, 3447.4)), 10.0, "hi"),
    "ambient_temp": ChannelConfig("ambient_temp", "board", "°C", ((0, 0.0), (16, 1.0)), 1.0, "t1"),
    "vent_temp": ChannelConfig("vent_temp", "board", "°C", ((0, 0.0), (16, 1.0)), 1.0, "t2"),
}


class Reader:
    """Reads a board source in a thread and opens it again when the board goes; keeps what came."""

    def __init__(self, port: str):
        self.source = BoardSource(port, CHANNELS, Clock(), board="bench-board")
        self.blocks: dict[str, list[Block]] = defaultdict(list)
        self.lost = 0
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Reader:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join(10)
        self.source.close()

    def codes(self, channel: str) -> np.ndarray:
        return np.concatenate([block.code for block in list(self.blocks[channel])] or [np.array([], np.int32)])

    def times(self, channel: str) -> np.ndarray:
        return np.concatenate([block.t_s for block in list(self.blocks[channel])] or [np.array([])])

    def last(self, channel: str) -> int | None:
        codes = self.codes(channel)
        return int(codes[-1]) if len(codes) else None

    def quality(self, channel: str) -> tuple[str, str]:
        health = {each.channel: each for each in self.source.health()}[channel]
        return health.quality, health.reason

    def _run(self) -> None:
        while not self._ended.is_set():
            with contextlib.suppress(SourceError):
                self.source.open()
                while not self._ended.is_set():
                    for block in self.source.read(0.1):
                        self.blocks[block.channel].append(block)
            self.lost += not self._ended.is_set()
            self._ended.wait(0.05)


@pytest.fixture
def reader(rig: Rig):
    with Reader(rig.port) as reader:
        wait_until(lambda: reader.last("scale") is not None, what="a first weight")
        yield reader


def open_valve(rig: Rig, reader: Reader) -> None:
    """Order it open, once the board has been up for a second."""
    wait_until(lambda: rig.stat()["simulated_s"] > 1.2, what="the board's first second")
    assert reader.source.request(valve=1)
    assert rig.next_pin()[:2] == ("valve", 1)


def test_codes_arrive_exactly(rig, reader):
    for code in (0, -1, 1, 8_388_606, -8_388_607, -123_456):
        rig.say(f"code {code}")
        wait_until(lambda code=code: reader.last("scale") == code, what=f"code {code}")
    rig.say("code 8388607")
    wait_until(lambda: reader.quality("scale") == ("fault", "saturated"), what="saturation")
    assert reader.last("scale") == INVALID_CODE


def test_eighty_weights_a_second_without_a_gap(rig, reader):
    before, began, counted = len(reader.times("scale")), rig.stat(), reader.source.counters()
    time.sleep(4)
    arrived, stat, counts = len(reader.times("scale")) - before, rig.stat(), reader.source.counters()
    assert arrived == pytest.approx(80 * (stat["simulated_s"] - began["simulated_s"]), abs=8)
    amiss = {name: counts[name] - counted[name] for name in ("lost", "bad_crc", "bad_shape", "silences")}
    assert not any(amiss.values()), amiss
    assert (stat["torn"], stat["missed"], stat["lost_bytes"]) == (0, 0, 0)
    assert stat["power_downs"] == 1, "only the one at the start is meant"
    assert 0.2 <= stat["longest_high_us"] < 50
    assert stat["worst_pass_us"] < 12_500 * 7 / 8 - 100, "a pass so long would leave weights out"


def test_weights_are_stamped_when_their_conversion_ends(rig):
    """By the board's own counter, whatever else it does: with probes on the bus and requests to answer."""
    rig.say("probe 0 320")
    rig.say("reset")
    rig.stat()  # it has been reset; what was sent before is thrown away below
    decoder, stamps = Decoder(), []
    with serial.Serial(rig.port, 115200, timeout=0.05) as port:
        port.reset_input_buffer()
        for seq in range(60):
            port.write(encode(Frame("RQ", seq, 0, {"id": 1})))
            frames = decoder.feed(port.read(4096))
            stamps += [frame.micros for frame in frames if frame.type == "SM" and "w" in frame.fields]
    assert len(stamps) > 100
    spacing = np.diff(stamps)
    assert np.abs(spacing - 12_500).max() < 150, "an interrupt that had to wait is all there may be"
    assert decoder.lost == 0


def test_transducers_and_probes(rig, reader):
    for line in ("adc 0 2500", "adc 1 500", "probe 0 401", "probe 1 -162"):
        rig.say(line)
    wait_until(lambda: reader.last("low_side") == 511 * 4, what="2.5 V of 5 V")
    wait_until(lambda: reader.last("high_side") == 102 * 4, what="0.5 V of 5 V")
    rig.say("reset")  # the probes were plugged in after the board's search
    wait_until(lambda: reader.last("ambient_temp") in (401, -162), what="a probe")
    assert {reader.last("ambient_temp"), reader.last("vent_temp")} == {401, -162}


def test_a_broken_transducer_is_a_fault_and_never_a_pressure(rig, reader):
    wait_until(lambda: reader.last("low_side") == 204 * 4, what="1 V")
    rig.say("adc 0 5000")
    wait_until(lambda: reader.quality("low_side") == ("fault", "open wire"), what="an open wire")
    rig.say("adc 1 0")
    wait_until(lambda: reader.quality("high_side") == ("fault", "shorted wire"), what="a shorted wire")
    assert set(reader.codes("low_side")) == {204 * 4, INVALID_CODE}
    rig.say("adc 0 1000")
    wait_until(lambda: reader.last("low_side") == 204 * 4, what="pressures from the mended wire")
    assert reader.quality("low_side") == ("good", "")


def test_requests_are_answered_and_the_buzzer_sounds(rig, reader):
    assert reader.source.request(beep=300)
    first, second = rig.next_pin(), rig.next_pin()
    assert (first[:2], second[:2]) == (("buzzer", 1), ("buzzer", 0))
    assert second[2] - first[2] == pytest.approx(0.3, abs=0.003)
    assert not reader.source.request(rate=20)
    assert not reader.source.request(beep=20_000)
    assert reader.source.request(rate=10)
    time.sleep(0.2)
    before = len(reader.times("scale"))
    wait_until(lambda: len(reader.times("scale")) >= before + 10, what="ten weights")
    assert np.diff(reader.times("scale")[before : before + 10]) == pytest.approx(0.1, abs=0.002)


def test_the_valve_closes_a_second_after_the_last_request(rig, reader):
    open_valve(rig, reader)
    for _ in range(3):
        time.sleep(0.4)
        asked = rig.stat()["simulated_s"]
        assert reader.source.request(valve=1)
        heard = rig.stat()["simulated_s"]
    _, level, closed = rig.next_pin()
    assert level == 0
    assert asked + 1.0 <= closed <= heard + 1.0 + 0.005
    assert reader.source.request(valve=1)
    assert reader.source.request(valve=0)
    assert [rig.next_pin()[:2], rig.next_pin()[:2]] == [("valve", 1), ("valve", 0)]


def test_a_torn_or_wrong_request_opens_nothing(rig, reader):
    line = "$RQ,1,0,valve=1*0000\n"
    with open(rig.port, "wb", buffering=0) as port:
        port.write(line.encode())
    assert not reader.source.request(valve=2)
    assert reader.source.request(beep=1)
    assert rig.next_pin()[0] == "buzzer", "the valve has not moved before it"


@pytest.mark.parametrize(("blow", "within_s"), [("reset", 0.0), ("hang", 0.3)])
def test_a_reset_closes_the_valve_and_is_noticed(rig, reader, blow, within_s):
    """A brown-out resets at once; a board that hangs is reset by its watchdog."""
    open_valve(rig, reader)
    rig.say(blow)
    what, _, struck = rig.next_pin()
    assert what == "blow"
    what, level, closed = rig.next_pin()
    assert (what, level) == ("valve", 0)
    assert closed - struck <= within_s
    rig.say("code 4321")
    wait_until(lambda: reader.last("scale") == 4321, what="weights after the reset")
    assert rig.stat()["resets"] == 1
    assert not reader.source.request(valve=1), "an order from before the reset is void"
    assert (np.diff(reader.times("scale")) >= 0).all()
    assert reader.lost == 0, "the port was there all the time"


@pytest.mark.parametrize(("level", "reason"), [(0, "shorted wire"), (1, "not ready")])
def test_a_stuck_load_cell_chip_is_a_fault_and_comes_back(rig, reader, level, reason):
    rig.say("code 777")
    wait_until(lambda: reader.last("scale") == 777, what="code 777")
    rig.say(f"stuck {level}")
    wait_until(lambda: reader.quality("scale") == ("fault", reason), what=reason)
    time.sleep(0.5)
    codes = reader.codes("scale")
    assert set(codes[np.argmax(codes == 777) :]) <= {777, INVALID_CODE}
    rig.say("stuck -1")
    wait_until(lambda: reader.quality("scale")[0] == "good" and reader.last("scale") == 777, what="the chip's return")


def test_probes_keep_their_numbers_when_one_is_missing(rig, reader):
    for line in ("probe 0 100", "probe 1 200", "reset"):
        rig.say(line)
    wait_until(lambda: {reader.last("ambient_temp"), reader.last("vent_temp")} == {100, 200}, what="both probes")
    second = reader.last("vent_temp")
    rig.say(f"unplug {[100, 200].index(reader.last('ambient_temp'))}")
    rig.say("reset")
    wait_until(lambda: reader.quality("ambient_temp") == ("fault", "open wire"), what="the missing probe")
    assert reader.last("vent_temp") == second
    rig.say("short 1")
    wait_until(lambda: reader.quality("vent_temp") == ("fault", "shorted wire"), what="a shorted bus")


def test_a_board_that_was_unplugged_comes_back_under_another_boot_number(rig, reader):
    rig.stop()
    wait_until(lambda: reader.lost > 0, what="the loss of the port")
    rig.start()
    rig.say("code 99")
    wait_until(lambda: reader.last("scale") == 99, what="weights from the board plugged in again")
