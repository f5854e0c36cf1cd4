"""One channel as the cart file sets it up."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from firmware_bridge.blocks import INVALID_CODE, Block
from firmware_bridge.calibration import Calibration


@dataclass(frozen=True, slots=True)
class ChannelConfig:
    """source: "board", "hx711", "ads1115", "onewire" or "virtual".
    field: the sensor's name on the board ("w", "lo", ...), "" elsewhere.
    code_min, code_max: codes outside are a broken wire or a sensor beyond its range, not readings; None: no such limit.
    options: what only this source's driver needs, every default filled in.
    """

    name: str
    source: str
    unit: str
    points: tuple[tuple[float, float], ...]
    rate_hz: float
    field: str = ""
    code_min: int | None = None
    code_max: int | None = None
    options: Mapping[str, Any] = dataclasses.field(default_factory=dict)

    @property
    def calibration(self) -> Calibration:
        """Raises CalibrationError when the points make no line."""
        return Calibration(self.points)


class Channel:
    """Makes blocks of a channel's codes."""

    def __init__(self, config: ChannelConfig):
        self.config = config
        self.name = config.name
        self._calibration = config.calibration

    def why_invalid(self, code: int) -> str:
        """Why this code is no reading, "" when it is one."""
        low, high = self.config.code_min, self.config.code_max
        if code == INVALID_CODE:
            return "the sensor gives no valid reading"
        if low is not None and code < low:
            return f"code {code} is below code_min {low}: open or shorted wire"
        if high is not None and code > high:
            return f"code {code} is above code_max {high}: shorted wire or beyond the sensor's range"
        return ""

    def block(self, t_s: list[float], codes: list[int]) -> Block:
        """Times (s) and codes, INVALID_CODE where there is no reading, as a block."""
        code = np.array(codes, np.int32)
        return Block(self.name, np.array(t_s, float), self._calibration.apply(code), code)
