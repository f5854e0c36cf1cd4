"""DS18B20 probes as the kernel's one-wire driver shows them: a file each, read at the pace of the probe."""

from __future__ import annotations

POWER_ON_CODE = 85 * 16
NEAR_CODE = 2 * 16


class PowerOnValue:
    """Tells the probe's power-on value, 85 °C exactly, from a real 85 °C: that one is reached from a reading near it."""

    def __init__(self) -> None:
        self._last: int | None = None

    def is_it(self, code: int) -> bool:
        """Whether `code` (1/16 °C) is the power-on value, given the codes asked about before."""
        near = self._last is not None and abs(code - self._last) <= NEAR_CODE
        if code == POWER_ON_CODE and not near:
            return True
        self._last = code
        return False
