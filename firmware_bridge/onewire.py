"""DS18B20 probes as the kernel's one-wire driver shows them: a file each, which takes as long to read as the probe
takes to measure. Each probe has its own thread, so that a slow or hung one holds up nothing else."""

from __future__ import annotations

import contextlib
import queue
import re
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from firmware_bridge.blocks import INVALID_CODE, Block
from firmware_bridge.channel import Channel, ChannelConfig
from firmware_bridge.clock import Clock
from firmware_bridge.health import HealthBook
from firmware_bridge.source import ChannelHealth, SourceError

POWER_ON_CODE = 85 * 16
NEAR_CODE = 2 * 16
JOIN_REAL_S = 0.2
QUEUE_SIZE = 1000

_BYTES = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)")
_MILLIDEGREES = re.compile(r"t=(-?\d+)")


class PowerOnValue:
    """Tells the probe's power-on value, 85 °C exactly, from a real 85 °C: that is reached from a reading near it."""

    def __init__(self) -> None:
        self._last: int | None = None

    def is_it(self, code: int) -> bool:
        """Whether `code` (1/16 °C) is the power-on value, given the codes asked about before."""
        near = self._last is not None and abs(code - self._last) <= NEAR_CODE
        if code == POWER_ON_CODE and not near:
            return True
        self._last = code
        return False


class NoReading(Exception):
    """A file that holds no temperature, and why."""


def parse_w1(text: str) -> int:
    """Temperature in 1/16 °C from the text of a `w1_slave` file. Raises NoReading."""
    scratchpad, temperature = _BYTES.search(text), _MILLIDEGREES.search(text)
    if not scratchpad or not temperature:
        raise NoReading("the probe does not answer")
    if scratchpad[2] == "NO":
        raise NoReading("checksum wrong: a long or noisy wire")
    if not any(bytes.fromhex(scratchpad[1])):
        raise NoReading("all zero, which passes its checksum: the wire is shorted")
    return round(int(temperature[1]) * 16 / 1000)


@dataclass(frozen=True, slots=True)
class _Result:
    probe: _Probe
    t_s: float
    code: int
    reason: str


class _Probe:
    """One probe's file and the thread that reads it."""

    def __init__(self, channel: Channel, clock: Clock, results: queue.Queue[_Result]):
        options = channel.config.options
        self.channel = channel
        self._path = Path(options["folder"]) / options["probe"] / "w1_slave"
        self._clock, self._results = clock, results
        self._power_on = PowerOnValue()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"onewire-{channel.name}", daemon=True)
        self._thread.start()

    def end(self) -> None:
        self._stop.set()

    def join(self, real_s: float) -> None:
        """A thread that hangs in the kernel is left behind; what it may yet bring goes nowhere."""
        self._thread.join(real_s)

    def _run(self) -> None:
        period_s = 1.0 / self.channel.config.rate_hz
        while not self._stop.is_set():
            began_s = self._clock.now()
            result = self._look()
            if not self._stop.is_set():
                with contextlib.suppress(queue.Full):  # nobody reads: what is newest is missing least
                    self._results.put_nowait(result)
            self._clock.wait(self._stop, max(began_s + period_s - self._clock.now(), 0.0))

    def _look(self) -> _Result:
        try:
            code = parse_w1(self._path.read_text("ascii", "replace"))
            if self._power_on.is_it(code):
                raise NoReading("power-on value, 85 °C: the probe lost its supply for a moment")
        except (FileNotFoundError, NotADirectoryError):
            return self._result(INVALID_CODE, f"probe {self._path.parent.name} is not there: check its plug and number")
        except OSError as error:
            return self._result(INVALID_CODE, f"probe cannot be read: {error.strerror}")
        except NoReading as why:
            return self._result(INVALID_CODE, str(why))
        return self._result(code, self.channel.why_invalid(code))

    def _result(self, code: int, reason: str) -> _Result:
        return _Result(self, self._clock.now(), INVALID_CODE if reason else code, reason)


class OneWireSource:
    """channels: all on the same folder of the kernel's (`folder` and `probe` among their options)."""

    def __init__(self, channels: Mapping[str, ChannelConfig], clock: Clock, *, name: str = "onewire"):
        self.name = name
        self.channels = tuple(channels)
        self._clock = clock
        self._channels = [Channel(config) for config in channels.values()]
        self._folder = Path(self._channels[0].config.options["folder"])
        self._book = HealthBook({name: config.rate_hz for name, config in channels.items()}, clock)
        self._results: queue.Queue[_Result] = queue.Queue(QUEUE_SIZE)
        self._probes: list[_Probe] = []
        self._counters = {"readings": 0, "rejected": 0, "opened": 0}

    def open(self) -> None:
        self.close()
        if not self._folder.is_dir():
            driver = "the kernel's one-wire driver is not loaded"
            reason = f"{self._folder} is not there, {driver}: hardware/pi/install.sh --header does it"
            self._book.link_down(reason)
            raise SourceError(reason)
        self._counters["opened"] += 1
        self._results = queue.Queue(QUEUE_SIZE)
        self._probes = [_Probe(channel, self._clock, self._results) for channel in self._channels]
        self._book.link_up()

    def read(self, timeout_s: float) -> list[Block]:
        if not self._probes:
            raise SourceError("the one-wire probes are not open")
        return [block for result in self._collect(timeout_s) if (block := self._block(result))]

    def health(self) -> list[ChannelHealth]:
        return self._book.judge()

    def counters(self) -> dict[str, int]:
        return dict(self._counters)

    def close(self) -> None:
        probes, self._probes = self._probes, []
        for probe in probes:
            probe.end()
        give_up = time.monotonic() + JOIN_REAL_S
        for probe in probes:
            probe.join(max(give_up - time.monotonic(), 0.0))
        self._book.closed()

    def _collect(self, timeout_s: float) -> list[_Result]:
        results = []
        try:
            results.append(self._results.get(timeout=self._clock.real_s(timeout_s)))
            while True:
                results.append(self._results.get_nowait())
        except queue.Empty:
            return results

    def _block(self, result: _Result) -> Block:
        name = result.probe.channel.name
        if result.reason:
            self._counters["rejected"] += 1
            self._book.invalid(name, result.reason)
        else:
            self._counters["readings"] += 1
            self._book.reading(name, result.t_s)
        return result.probe.channel.block([result.t_s], [result.code])
