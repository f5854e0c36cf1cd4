"""The unit in which readings travel: a block of one channel's samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

INVALID_CODE = -(2**31)
"""Stands in a block's ``code`` where the sensor said that it has no valid reading."""

CHANNEL_UNITS = {
    "scale": "g",
    "low_side": "kPa",
    "high_side": "kPa",
    "vacuum": "Pa",
    "barometer": "kPa",
    "ambient_temp": "°C",
    "vent_temp": "°C",
    "container_temp": "°C",
    "suction_temp": "°C",
    "liquid_temp": "°C",
    "humidity": "%",
}
"""Every channel there is, with the unit of its calibrated values."""


@dataclass(frozen=True, slots=True)
class Block:
    """Samples of one channel, oldest first.

    t_s: float64 (n,), seconds on a monotonic clock, never decreasing.
    value: float64 (n,), in the channel's unit (``CHANNEL_UNITS``); NaN where the sensor reported an invalid reading.
    code: int32 (n,), what the sensor said before calibration, ``INVALID_CODE`` where invalid;
        None where the source knows only calibrated values (a recording).
    """

    channel: str
    t_s: np.ndarray
    value: np.ndarray
    code: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.t_s)
