"""A deep vacuum that hardly moves: a tight circuit shut off from the pump, or a pump at its ultimate pressure.

Nothing in the readings tells the two apart. The rise of a tight, dry circuit is a few pascal in half an hour, and a
pump whose oil warms drifts by as much (from memory, low trust): to call the one a hold would call a running pump tight.
"""

from __future__ import annotations

from collections import deque

DEEP_PA = 200.0
EVERY_S, STEPS = 20, 15
MOVED_SHARE, MOVED_PA = 0.15, 1.0
LONGEST_KEPT_S = 300.0


class SteadyVacuum:
    """Fed every second with a reading of the deep-vacuum sensor; keeps the longest time that it stood still."""

    def __init__(self):
        self.longest_s = 0.0
        self._sum_pa, self._count = 0.0, 0
        self._steps: deque[float] = deque(maxlen=STEPS)
        self._still_s = 0.0

    def add(self, p_pa: float | None, judged: bool) -> None:
        """p_pa: this second's mean, None without a reading; judged: a hold is running and says all there is to say."""
        if p_pa is None:
            return
        if judged or p_pa > DEEP_PA:
            self._steps.clear()
            self._sum_pa, self._count, self._still_s = 0.0, 0, 0.0
            return
        self._sum_pa, self._count = self._sum_pa + p_pa, self._count + 1
        if self._count == EVERY_S:
            self._step(self._sum_pa / EVERY_S)
            self._sum_pa, self._count = 0.0, 0

    def why(self) -> str | None:
        """Why no hold was found though there may have been one; None where there was nothing like one."""
        if self.longest_s < LONGEST_KEPT_S:
            return None
        return (
            f"the deep vacuum stood still for {self.longest_s / 60.0:.0f} min: a tight hold, or a pump that had come "
            "to its lowest pressure. The readings cannot tell which; mark the hold to have it judged"
        )

    def _step(self, mean_pa: float) -> None:
        self._steps.append(mean_pa)
        low, high = min(self._steps), max(self._steps)
        still = len(self._steps) == STEPS and high - low < MOVED_SHARE * low + MOVED_PA
        if not still:
            self._still_s = 0.0
            return
        self._still_s = self._still_s + EVERY_S if self._still_s else float(EVERY_S * STEPS)
        self.longest_s = max(self.longest_s, self._still_s)
