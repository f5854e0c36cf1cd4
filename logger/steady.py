"""One channel watched until it rests: what a guided calibration looks at."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firmware_bridge.blocks import INVALID_CODE
from firmware_bridge.clock import Clock
from firmware_bridge.source import Source, SourceError

WINDOW_S = 2.0
PATIENCE_S = 60.0
SILENCE_S = 10.0


class UnsteadyError(ValueError):
    """A channel that gives nothing, or does not come to rest; one line with what to do."""


@dataclass(frozen=True, slots=True)
class Rest:
    """What a resting channel showed: mean code and value over the last window, scatter of one code, how many."""

    code: float
    value: float
    code_sd: float
    n: int


class Watcher:
    """Reads one channel of an open source, on the source's clock."""

    def __init__(self, source: Source, channel: str, clock: Clock):
        self._source, self._channel, self._clock = source, channel, clock

    def rest(self) -> Rest:
        """Wait until two windows one after the other agree within their noise, and give the later one.

        Raises UnsteadyError after a minute of movement, or ten seconds without a reading.
        """
        self.window(0.2)
        deadline = self._clock.now() + PATIENCE_S
        last: Rest | None = None
        while self._clock.now() < deadline:
            now = self.window(WINDOW_S)
            if last and _agree(last, now):
                return now
            last = now
        raise UnsteadyError(f"{self._channel} does not come to rest: keep hands, hoses and the engine's shaking off it")

    def window(self, seconds: float) -> Rest:
        """Everything that comes within `seconds`, and at least two readings. Raises UnsteadyError on silence."""
        codes, values = [], []
        end, silent = self._clock.now() + seconds, self._clock.now() + SILENCE_S
        while self._clock.now() < end or len(codes) < 2:
            if self._clock.now() > silent:
                raise UnsteadyError(f"no valid reading from {self._channel} for {SILENCE_S:g} s: {self._reason()}")
            for block in self._read():
                good = block.code != INVALID_CODE
                codes += block.code[good].tolist()
                values += block.value[good].tolist()
                silent = self._clock.now() + SILENCE_S
        return Rest(float(np.mean(codes)), float(np.mean(values)), float(np.std(codes, ddof=1)), len(codes))

    def _read(self) -> list:
        try:
            blocks = self._source.read(0.1)
        except SourceError as error:
            raise UnsteadyError(str(error)) from None
        return [block for block in blocks if block.channel == self._channel and block.code is not None]

    def _reason(self) -> str:
        reasons = [health.reason for health in self._source.health() if health.channel == self._channel]
        return next((reason for reason in reasons if reason), "check its wires")


def _agree(a: Rest, b: Rest) -> bool:
    """Means closer than three of their standard errors, and one code in any case."""
    return abs(a.code - b.code) <= max(3 * math.hypot(a.code_sd / math.sqrt(a.n), b.code_sd / math.sqrt(b.n)), 1.0)
