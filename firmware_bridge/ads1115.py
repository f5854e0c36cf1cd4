"""An ADS1115 analogue-to-digital converter on I2C as a source: plain inputs and ratiometric transducers."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Protocol

import smbus2

from firmware_bridge.ads1115_registers import CONFIG, CONVERSION, RAILS, START_OR_IDLE, config_word
from firmware_bridge.blocks import INVALID_CODE, Block
from firmware_bridge.channel import Channel, ChannelConfig
from firmware_bridge.clock import Clock
from firmware_bridge.health import HealthBook
from firmware_bridge.source import ChannelHealth, SourceError

MILLION = 1_000_000
LEAST_SUPPLY_V = 2.5
"""No transducer works on less; a ratio to less is noise."""
FAILURES_TO_REOPEN = 5
CONVERSION_TOLERANCE = 1.1
"""The converter's own oscillator is good to 10 %."""
LEAST_REAL_WAIT_S = 0.2


class Bus(Protocol):
    """What is used of `smbus2.SMBus`. Block calls, because the chip is big-endian and SMBus words are little-endian."""

    def read_i2c_block_data(self, i2c_addr: int, register: int, length: int) -> list[int]: ...
    def write_i2c_block_data(self, i2c_addr: int, register: int, data: list[int]) -> None: ...
    def close(self) -> None: ...


class NoReading(Exception):
    """A conversion that came to nothing, and why."""


class Ads1115Source:
    """channels: those on one chip (same bus and address). open_bus: makes the bus from its number.

    The code of a plain input is the converter's; that of a ratiometric one is its share of the measured supply in
    millionths, so that the stored code can be calibrated again without knowing the supply of that moment.
    """

    def __init__(
        self,
        channels: Mapping[str, ChannelConfig],
        clock: Clock,
        *,
        open_bus: Callable[[int], Bus] = smbus2.SMBus,
        name: str = "ads1115",
    ):
        self.name = name
        self.channels = tuple(channels)
        self._clock, self._open_bus = clock, open_bus
        self._channels = [Channel(config) for config in channels.values()]
        first = self._channels[0].config.options
        self._number, self._address = first["bus"], first["address"]
        self._book = HealthBook({name: config.rate_hz for name, config in channels.items()}, clock)
        self._bus: Bus | None = None
        self._running = 0
        self._due: dict[str, float] = {}
        self._counters = {"conversions": 0, "bus_errors": 0, "chip_resets": 0, "opened": 0}
        self._failures = 0

    def open(self) -> None:
        self.close()
        try:
            self._bus = self._open_bus(self._number)
            self._read_register(CONFIG)
        except OSError as error:
            self.close()
            raise self._gone(f"does not answer ({error}): check its wires, its address and that I2C is on") from error
        self._counters["opened"] += 1
        self._failures = self._running = 0
        self._due = dict.fromkeys(self.channels, self._clock.now())
        self._book.link_up()

    def read(self, timeout_s: float) -> list[Block]:
        if self._bus is None:
            raise SourceError(f"{self._where()} is not open")
        self._sleep_until_due(timeout_s)
        return [block for channel in self._channels if (block := self._read_if_due(channel))]

    def health(self) -> list[ChannelHealth]:
        return self._book.judge()

    def counters(self) -> dict[str, int]:
        return dict(self._counters)

    def close(self) -> None:
        bus, self._bus = self._bus, None
        if bus:
            bus.close()
        self._book.closed()

    def _where(self) -> str:
        return f"ADS1115 at 0x{self._address:02x} on I2C bus {self._number}"

    def _gone(self, what: str) -> SourceError:
        reason = f"{self._where()} {what}"
        self._book.link_down(reason)
        return SourceError(reason)

    # --- when

    def _sleep_until_due(self, timeout_s: float) -> None:
        wait_s = min(min(self._due.values()) - self._clock.now(), timeout_s)
        if wait_s > 0:
            time.sleep(self._clock.real_s(wait_s))

    def _read_if_due(self, channel: Channel) -> Block | None:
        now = self._clock.now()
        if now < self._due[channel.name]:
            return None
        period_s = 1.0 / channel.config.rate_hz
        self._due[channel.name] = max(self._due[channel.name] + period_s, now)
        try:
            code = self._code(channel)
        except NoReading as why:
            self._book.invalid(channel.name, str(why))
            code = INVALID_CODE
        except OSError as error:
            self._note_bus_error(error)
            return None
        self._failures = 0
        t_s = self._clock.now()
        if code != INVALID_CODE:
            self._book.reading(channel.name, t_s)
        return channel.block([t_s], [code])

    def _note_bus_error(self, error: OSError) -> None:
        self._counters["bus_errors"] += 1
        self._failures += 1
        if self._failures >= FAILURES_TO_REOPEN:
            raise self._gone(f"has stopped answering ({error})") from error

    # --- what

    def _code(self, channel: Channel) -> int:
        options = channel.config.options
        supply_input = options["supply_input"]
        code = self._convert(channel.config, options["input"])
        if supply_input is not None:
            code = _share(code, self._convert(channel.config, supply_input), options["range_v"])
        if reason := channel.why_invalid(code):
            raise NoReading(reason)
        return code

    def _convert(self, config: ChannelConfig, input_name: str) -> int:
        options = config.options
        single_shot = options["mode"] == "single-shot"
        word = config_word(input_name, options["range_v"], options["sps"], single_shot)
        conversion_s = CONVERSION_TOLERANCE / options["sps"]
        if single_shot or self._running != word:
            self._write_register(CONFIG, word)
            self._running = word
            time.sleep(self._clock.real_s(conversion_s * (1 if single_shot else 2)))
        self._await(word, conversion_s)
        code = self._read_register(CONVERSION)
        code -= (code & 0x8000) << 1
        self._counters["conversions"] += 1
        if code in RAILS:
            raise NoReading(f"{input_name} is beyond the converter's range of {options['range_v']} V")
        return code

    def _await(self, word: int, conversion_s: float) -> None:
        """Until the conversion asked for by `word` is there."""
        give_up = time.monotonic() + max(LEAST_REAL_WAIT_S, self._clock.real_s(10 * conversion_s))
        single_shot = bool(word & START_OR_IDLE)
        while True:
            config = self._read_register(CONFIG)
            if (config ^ word) & ~START_OR_IDLE:
                self._running = 0
                self._counters["chip_resets"] += 1
                raise NoReading("the converter lost its settings: its supply broke down for a moment")
            if config & START_OR_IDLE or not single_shot:
                return
            if time.monotonic() > give_up:
                raise NoReading("the converter does not finish")
            time.sleep(self._clock.real_s(conversion_s / 4))

    def _read_register(self, register: int) -> int:
        high, low = self._bus.read_i2c_block_data(self._address, register, 2)
        return high << 8 | low

    def _write_register(self, register: int, word: int) -> None:
        self._bus.write_i2c_block_data(self._address, register, [word >> 8, word & 0xFF])


def _share(code: int, supply: int, range_v: float) -> int:
    """An input's share of its supply, in millionths."""
    volts = supply * range_v / -RAILS[0]
    if volts < LEAST_SUPPLY_V:
        raise NoReading(f"the transducers' supply is {volts:.2f} V")
    return round(code * MILLION / supply)
