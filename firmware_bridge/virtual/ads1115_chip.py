"""ADS1115 chips at their registers, behind the calls of smbus2 that the driver makes."""

from __future__ import annotations

import errno
from collections.abc import Callable, Mapping

from firmware_bridge.ads1115_registers import CONFIG, CONVERSION, INPUTS, RANGES_V, RATES_SPS, RESET_CONFIG
from firmware_bridge.clock import Clock

START_OR_IDLE, SINGLE_SHOT = 0x8000, 0x0100
_INPUT = {bits: name for name, bits in INPUTS.items()}
_RANGE = {bits: volts for volts, bits in RANGES_V.items()} | {6: 0.256, 7: 0.256}
_RATE = {bits: sps for sps, bits in RATES_SPS.items()}


class Ads1115Chip:
    """volts: the voltage at a pin ("A0" to "A3") at this moment. A conversion takes its time on `clock`."""

    def __init__(self, volts: Callable[[str], float], clock: Clock):
        self.present = True
        self._volts, self._clock = volts, clock
        self.reset()

    def reset(self) -> None:
        """As after the supply broke down."""
        self._registers = {CONVERSION: 0, CONFIG: RESET_CONFIG, 2: 0x8000, 3: 0x7FFF}
        self._pending = 0
        self._done_s: float | None = None

    def read(self, register: int) -> int:
        self._finish()
        return self._registers[register]

    def write(self, register: int, word: int) -> None:
        self._finish()
        if register == CONVERSION:
            return
        self._registers[register] = word
        if register == CONFIG and (word & START_OR_IDLE or not word & SINGLE_SHOT):
            self._registers[CONFIG] = word & ~START_OR_IDLE
            self._begin()

    def _begin(self) -> None:
        self._pending = self._sample()
        self._done_s = self._clock.now() + 1.0 / _RATE[self._registers[CONFIG] >> 5 & 7]

    def _finish(self) -> None:
        if self._done_s is None or self._clock.now() < self._done_s:
            return
        self._registers[CONVERSION] = self._pending
        self._done_s = None
        if self._registers[CONFIG] & SINGLE_SHOT:
            self._registers[CONFIG] |= START_OR_IDLE
        else:
            self._begin()

    def _sample(self) -> int:
        config = self._registers[CONFIG]
        plus, _, minus = _INPUT[config >> 12 & 7].partition("-")
        volts = self._volts(plus) - (self._volts(minus) if minus else 0.0)
        code = round(volts * 32768 / _RANGE[config >> 9 & 7])
        return max(-32768, min(32767, code)) & 0xFFFF


class VirtualI2cBus:
    """A bus with chips at their addresses; an address where none answers gives the kernel's error 121."""

    def __init__(self, chips: Mapping[int, Ads1115Chip]):
        self._chips = chips

    def read_i2c_block_data(self, i2c_addr: int, register: int, length: int) -> list[int]:
        return list(self._chip(i2c_addr).read(register).to_bytes(2, "big")[:length])

    def write_i2c_block_data(self, i2c_addr: int, register: int, data: list[int]) -> None:
        self._chip(i2c_addr).write(register, int.from_bytes(bytes(data), "big"))

    def close(self) -> None:
        """A bus stays."""

    def _chip(self, address: int) -> Ads1115Chip:
        chip = self._chips.get(address)
        if chip is None or not chip.present:
            raise OSError(errno.EREMOTEIO, "Remote I/O error")
        return chip
