"""A guard around the `hx711` package, which by itself loops for ever when the chip is silent or reads a true zero, and
gives shifted words after a pulse that lasted too long.

It watches the pins from in front of the package's GPIO module: counts clock pulses, keeps the raw bits, and looks at
DOUT after the 25th pulse, where a chip in step holds it high (data sheet, "Serial Interface"). A word that may have
been overwritten while it was read, because the next conversion could have ended meanwhile, is not used.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from types import ModuleType
from typing import Any

POLL_S = 0.002
READY_S = 1.0
DATA_BITS = 24
MASK = (1 << DATA_BITS) - 1
RAILS = (0x7FFFFF, 0x800000)
SHARE_SLEPT = 0.5
SHARE_SAFE = 0.8
"""Of the nominal conversion period: the chip's own oscillator is not exact."""

OK, SATURATED, NOT_READY, STUCK_LOW, ABORTED, LATE = "ok", "saturated", "not-ready", "stuck-low", "aborted", "late"


@dataclass(frozen=True, slots=True)
class Word:
    """What one attempt to read came to.

    code: signed 24 bits where `status` is "ok" or "saturated", else None.
    ready_s: when the chip was seen to be ready, `time.monotonic` seconds.
    """

    status: str
    code: int | None
    ready_s: float


class WatchedPins:
    """Stands in front of a GPIO module."""

    def __init__(self, gpio: Any, dout: int):
        self._gpio, self._dout = gpio, dout
        self.restart()

    def restart(self) -> None:
        self.pulses = self.bits = 0
        self.in_step = True

    def __getattr__(self, name: str) -> Any:
        return getattr(self._gpio, name)

    def output(self, pin: int, level: bool) -> None:
        self._gpio.output(pin, level)
        if level:
            self.pulses += 1
        elif self.pulses == DATA_BITS + 1:
            self.in_step = bool(self._gpio.input(self._dout))

    def input(self, pin: int) -> int:
        level = self._gpio.input(pin)
        if 0 < self.pulses <= DATA_BITS:
            self.bits = (self.bits << 1 | level) & MASK
        return level


class GuardedCell:
    """package: the `hx711` module, unmodified; rate_hz: 10 or 80, as the chip's RATE pin is wired.

    Making one takes a second or two, which the package sleeps.
    """

    def __init__(self, package: ModuleType, dout: int, sck: int, gain: int, rate_hz: float):
        self._pins = package.GPIO = WatchedPins(package.GPIO, dout)
        self._cell = package.HX711(dout_pin=dout, pd_sck_pin=sck, gain=gain)
        self._wanted_pulses = DATA_BITS + (1 if gain == 128 else 3)
        self._period_s = 1.0 / rate_hz
        self._in_doubt = False
        self._busy_s = self._ended_s = time.monotonic()

    def word(self) -> Word:
        """The next conversion, or why there is none within `READY_S`."""
        if self._in_doubt:
            self._power_cycle()
        time.sleep(max(self._ended_s + SHARE_SLEPT * self._period_s - time.monotonic(), 0.0))
        ready_s = self._await_ready()
        if ready_s is None:
            self._in_doubt = True
            return Word(NOT_READY, None, time.monotonic())
        self._pins.restart()
        value = self._cell._read(max_tries=1)
        safe = time.monotonic() - self._busy_s < SHARE_SAFE * self._period_s
        self._busy_s = self._ended_s = time.monotonic()
        return Word(*self._judge(value, safe), ready_s)

    def _await_ready(self) -> float | None:
        """When DOUT was seen low; `_busy_s` is when it was last seen high."""
        give_up = time.monotonic() + READY_S
        while not self._cell._ready():
            self._busy_s = time.monotonic()
            if self._busy_s > give_up:
                return None
            time.sleep(POLL_S)
        return time.monotonic()

    def _judge(self, value: int | bool, safe: bool) -> tuple[str, int | None]:
        pins = self._pins
        if pins.pulses < self._wanted_pulses:
            self._in_doubt = True
            return ABORTED, None
        if not pins.in_step:
            self._in_doubt = True
            return (ABORTED if pins.bits else STUCK_LOW), None
        if pins.bits in RAILS:
            return SATURATED, pins.bits - ((pins.bits & 0x800000) << 1)
        if value is False:
            self._in_doubt = True
            return ABORTED, None
        return (OK, int(value)) if safe else (LATE, None)

    def _power_cycle(self) -> None:
        self._cell.power_down()
        self._cell.power_up()
        self._in_doubt = False
