"""The water plateau of a pump-down: pressure that hangs while water boils away.

Water boils at the pressure of its coldest wet spot; the pump keeps the rest of the circuit somewhat below that. So a
pressure that stands still between a fifth and all of water's saturation pressure, while the pump could go deeper, is
taken as water. A large leak can also hold a pressure up: the hold tells them apart.
"""

from __future__ import annotations

import math
from collections import deque

from logger.measure import water

BLOCK_S = 15
BLOCKS = 6
STILL_PER_S = 1.0 / 900.0
"""A pump-down falls by a half in tens of seconds; on a plateau ln p moves less than this a second."""

LOWEST_SHARE, HIGHEST_SHARE = 0.2, 1.15
SHORTEST_S = BLOCK_S * BLOCKS


class WaterPlateau:
    """Watches smoothed pressure while pumping; says when and where it hung."""

    def __init__(self):
        self.start_t_s: float | None = None
        self.seconds = 0.0
        self.sum_pa = 0.0
        self.saturation_pa: float | None = None
        self._blocks: deque[float] = deque(maxlen=BLOCKS)
        self._sum, self._count = 0.0, 0

    def add(self, t_s: float, p_pa: float, coldest_c: float, warmest_c: float) -> None:
        """Take one second of pumping in; temperatures in °C, NaN without a probe."""
        self._sum += p_pa
        self._count += 1
        if self._count < BLOCK_S:
            return
        self._blocks.append(self._sum / BLOCK_S)
        self._sum, self._count = 0.0, 0
        self._judge(t_s, coldest_c, warmest_c)

    def clear(self) -> None:
        """Pumping was interrupted, or the sensor stood at full scale."""
        self._blocks.clear()
        self._sum, self._count = 0.0, 0

    @property
    def seen(self) -> bool:
        return self.start_t_s is not None

    @property
    def mean_pa(self) -> float | None:
        return self.sum_pa / self.seconds if self.seconds else None

    def _judge(self, t_s: float, coldest_c: float, warmest_c: float) -> None:
        if len(self._blocks) < BLOCKS or not math.isfinite(coldest_c):
            return
        low, high = water.saturation_pa(coldest_c), water.saturation_pa(warmest_c)
        if low is None or high is None:
            return
        blocks = list(self._blocks)
        if not LOWEST_SHARE * low < sum(blocks) / BLOCKS < HIGHEST_SHARE * high or not _still(blocks):
            return
        if self.start_t_s is None:
            self.start_t_s, self.saturation_pa = t_s - SHORTEST_S, low
            self.seconds, self.sum_pa = SHORTEST_S, sum(blocks) * BLOCK_S
            return
        self.seconds += BLOCK_S
        self.sum_pa += blocks[-1] * BLOCK_S

    def words(self) -> str | None:
        """What the plateau was, for the technician."""
        if not self.seen:
            return None
        return (
            f"From {self.start_t_s:.0f} s on the pressure hung near {self.mean_pa:.0f} Pa for {self.seconds:.0f} s; "
            f"water "
            f"boils at {self.saturation_pa:.0f} Pa at the coldest part. Water was boiling off: pump until it falls, "
            f"then "
            "hold. (A large leak hangs too; the hold tells.)"
        )


def _still(blocks: list[float]) -> bool:
    """Whether the second half of the blocks lies where the first does, in ln p."""
    first, second = sum(blocks[: BLOCKS // 2]), sum(blocks[BLOCKS // 2 :])
    if first <= 0.0 or second <= 0.0:
        return False
    return abs(math.log(second / first)) / (BLOCKS // 2 * BLOCK_S) < STILL_PER_S
