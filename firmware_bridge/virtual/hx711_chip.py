"""An HX711 at its two pins, and a stand-in for the GPIO module that drives them."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from types import ModuleType

POWER_DOWN_S = 60e-6
SETTLING_CONVERSIONS = 4
NEXT_INPUT = {25: ("A", 128), 26: ("B", 32), 27: ("A", 64)}


class Hx711Chip:
    """As the data sheet has it: 24 bits most significant first, DOUT low when a conversion waits, high after the 25th
    pulse; 25, 26 or 27 pulses choose the next input; a clock pin held high for more than 60 us powers the chip down,
    and what it converts next is input A at gain 128, settled after four conversions. A conversion that ends while the
    last one is being read overwrites it.

    read_code: the code at this moment for an input ("A", 128).
    """

    def __init__(self, read_code: Callable[[tuple[str, int]], int], rate_hz: float, now: Callable[[], float]):
        self._read_code, self._period_s, self._now = read_code, 1.0 / rate_hz, now
        self.power_downs = 0
        self._sck, self._rose_s = False, 0.0
        self._power_up()

    def _power_up(self) -> None:
        self._input = self._wanted = NEXT_INPUT[25]
        self._pulses, self._word = 0, None
        self._due_s = self._now() + SETTLING_CONVERSIONS * self._period_s

    def clock(self, level: bool) -> None:
        """Drive PD_SCK."""
        if level and not self._sck:
            self._convert()
            self._rose_s = self._now()
            self._pulses += 1
            self._wanted = NEXT_INPUT.get(self._pulses, self._wanted)
        elif self._sck and not level and self._now() - self._rose_s > POWER_DOWN_S:
            self.power_downs += 1
            self._power_up()
        self._sck = level

    def dout(self) -> int:
        """The level of DOUT."""
        if not self._sck:
            self._convert()
        powered_down = self._sck and self._now() - self._rose_s > POWER_DOWN_S
        if self._word is None or self._pulses > 24 or powered_down:
            return 1
        return 0 if self._pulses == 0 else self._word >> (24 - self._pulses) & 1

    def _convert(self) -> None:
        """End the conversions that are due."""
        while self._now() >= self._due_s:
            if self._wanted != self._input:
                self._input, self._word = self._wanted, None
                self._due_s += (SETTLING_CONVERSIONS - 1) * self._period_s
                continue
            self._word, self._pulses = self._read_code(self._input) & 0xFFFFFF, 0
            self._due_s += self._period_s


def gpio_module(chip: Hx711Chip, spoil: Callable[[bool], None], stuck: Callable[[], int | None]) -> ModuleType:
    """What stands in for `RPi.GPIO`: the pin set up as output is the clock, the one set up as input is DOUT.

    spoil: called with the level before each edge of the clock, and may take its time as a preempted process does.
    stuck: the level at which DOUT is stuck just now, None when it works.
    """

    def output(_pin: int, level: bool) -> None:
        spoil(bool(level))
        chip.clock(bool(level))

    def read(_pin: int) -> int:
        level = stuck()
        return chip.dout() if level is None else level

    gpio = ModuleType("RPi.GPIO")
    gpio.BCM, gpio.BOARD, gpio.IN, gpio.OUT, gpio.HIGH, gpio.LOW = 11, 10, 1, 0, 1, 0
    gpio.setmode = gpio.setwarnings = gpio.setup = gpio.cleanup = lambda *_, **__: None
    gpio.output, gpio.input = output, read
    return gpio


def install(gpio: ModuleType) -> None:
    """Let `import RPi.GPIO` find it."""
    package = ModuleType("RPi")
    package.__path__, package.GPIO = [], gpio
    sys.modules["RPi"], sys.modules["RPi.GPIO"] = package, gpio


def stall(seconds: float) -> None:
    """Pass time as a preempted process does."""
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        pass
