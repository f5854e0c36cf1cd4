"""A load cell on an HX711 at the Pi's own pins as a source. The chip is read in a process of its own, because the
package that reads it can hang; this side gives that process a deadline and ends it when it keeps none."""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Mapping

from firmware_bridge import hx711_guard as guard
from firmware_bridge.blocks import INVALID_CODE, Block
from firmware_bridge.channel import Channel, ChannelConfig
from firmware_bridge.clock import Clock
from firmware_bridge.health import HealthBook
from firmware_bridge.source import ChannelHealth, SourceError

START_REAL_S = 15.0
"""An interpreter's start on a small computer, and two seconds that the package sleeps."""
DEADLINE_REAL_S = 4.0
END_REAL_S = 0.5
REASONS = {
    guard.SATURATED: "saturated: the load is beyond the cell's range, or a wire of the cell is off",
    guard.NOT_READY: "no data, DOUT stays high: no supply, a wire off, or the chip is dead",
    guard.STUCK_LOW: "no data, DOUT stays low: shorted to ground",
}


class Hx711Source:
    """channels: one, with `dout_pin`, `sck_pin` and `gain` among its options.

    gpio_module: what the reading process imports before the `hx711` package, which itself imports `RPi.GPIO`.
    """

    def __init__(
        self,
        channels: Mapping[str, ChannelConfig],
        clock: Clock,
        *,
        gpio_module: str = "RPi.GPIO",
        name: str = "hx711",
    ):
        self.name = name
        self.channels = tuple(channels)
        (config,) = channels.values()
        self._channel, self._clock = Channel(config), clock
        self._setting = {
            "gpio": gpio_module,
            "dout": config.options["dout_pin"],
            "sck": config.options["sck_pin"],
            "gain": config.options["gain"],
            "rate_hz": config.rate_hz,
        }
        self._book = HealthBook({config.name: config.rate_hz}, clock)
        self._process: subprocess.Popen[bytes] | None = None
        self._rest = b""
        self._give_up = 0.0
        self._counters = dict.fromkeys(
            ("started", "hung", "died", "ok", *REASONS, guard.ABORTED, guard.LATE, "garbled"), 0
        )

    def open(self) -> None:
        self.close()
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "firmware_bridge.hx711_child", json.dumps(self._setting)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                start_new_session=True,  # an interrupt typed at the terminal is for this side to act on
            )
        except OSError as error:
            raise self._gone(f"the process that reads it cannot be started: {error}") from error
        self._rest = b""
        self._give_up = time.monotonic() + START_REAL_S
        self._counters["started"] += 1
        self._book.opened()

    def read(self, timeout_s: float) -> list[Block]:
        if self._process is None:
            raise SourceError("the load cell is not open")
        *lines, self._rest = (self._rest + self._bytes(timeout_s)).split(b"\n")
        samples = [sample for line in lines if (sample := self._sample(line)) is not None]
        if not samples:
            return []
        t_s, codes = zip(*samples, strict=True)
        return [self._channel.block(list(t_s), list(codes))]

    def health(self) -> list[ChannelHealth]:
        return self._book.judge()

    def counters(self) -> dict[str, int]:
        return dict(self._counters)

    def close(self) -> None:
        process, self._process = self._process, None
        self._book.closed()
        if process is None:
            return
        process.terminate()
        try:
            process.wait(END_REAL_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        process.stdout.close()

    def _gone(self, why: str) -> SourceError:
        reason = f"load cell at pins {self._setting['dout']} and {self._setting['sck']}: {why}"
        self._book.link_down(reason)
        return SourceError(reason)

    def _bytes(self, timeout_s: float) -> bytes:
        pipe = self._process.stdout.fileno()
        if not select.select([pipe], [], [], self._clock.real_s(timeout_s))[0]:
            if time.monotonic() < self._give_up:
                return b""
            self._counters["hung"] += 1
            raise self._gone("the process that reads it hangs and is ended")
        data = os.read(pipe, 65536)
        if not data:
            self._counters["died"] += 1
            raise self._gone("the process that reads it has died")
        self._give_up = time.monotonic() + DEADLINE_REAL_S
        return data

    def _sample(self, line: bytes) -> tuple[float, int] | None:
        """Time and code of what the process says in one line; None when that is no sample."""
        message = _message(line)
        status = message["status"] if message["status"] in self._counters else "garbled"
        self._counters[status] += 1
        if status == "died":
            raise self._gone(f"the process that reads it has died: {message['why']}")
        self._book.link_up()
        if status == guard.OK:
            return self._reading(self._on_clock(message["ready_s"]), message["code"])
        if status in REASONS:
            self._book.invalid(self._channel.name, REASONS[status])
        return (self._on_clock(message["ready_s"]), INVALID_CODE) if status == guard.SATURATED else None

    def _reading(self, t_s: float, code: int) -> tuple[float, int]:
        if reason := self._channel.why_invalid(code):
            self._book.invalid(self._channel.name, reason)
            return t_s, INVALID_CODE
        self._book.reading(self._channel.name, t_s)
        return t_s, code

    def _on_clock(self, monotonic_s: float) -> float:
        """A time of the system's monotonic clock, which all processes share, on the source's clock."""
        return self._clock.now() - (time.monotonic() - monotonic_s) * self._clock.speed


def _message(line: bytes) -> dict:
    """What the process says; a GPIO module may have written a line of its own between."""
    try:
        message = json.loads(line)
    except ValueError:
        message = None
    return message if isinstance(message, dict) and "status" in message else {"status": "garbled"}
