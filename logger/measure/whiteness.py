"""Whether innovations of a filter still scatter about zero, and how widely."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

SCATTER_ALPHA = 0.02
"""Share of a new reading in the running scatter: it follows within about five seconds."""
NOISE_CLIP = 6.0
SCATTER_FRAMES = 15
RHO_MOST = 0.8
KICK_FRAMES = (8, 15, 40)
KICK_Z = 4.0

QUIET_SHARE, NORMAL_QUANTILE = 0.35, 0.4538
"""Of a normal variable's absolute values so many lie below this one: two of three differences may be spoiled."""


def roughness(y: Sequence[float]) -> float:
    """Variance of the noise on `y`, three values at least, from a low quantile of its absolute second differences: what
    flows or rests there, and what leaps for a while, hardly moves it."""
    y = list(y)
    rough = sorted([abs(a - 2.0 * b + c) for a, b, c in zip(y, y[1:], y[2:], strict=False)])
    return (rough[int(QUIET_SHARE * len(rough))] / NORMAL_QUANTILE) ** 2 / 6.0


class Whiteness:
    """Whether innovations still scatter about zero: if not, the flow has changed by little and is let move.

    Scatter and its memory (an engine's vibration is no white noise) are taken about a short running mean, so that a
    change of flow, which moves the mean, cannot hide itself by looking like more noise.
    """

    def __init__(self) -> None:
        self._last = 0.0
        self._lag = 0.0
        self._var = 1.0
        self.clear()

    def clear(self) -> None:
        """Forget the innovations, not their scatter."""
        self._e: deque[float] = deque(maxlen=SCATTER_FRAMES)
        self._sums: deque[tuple[float, float, float]] = deque([(0.0, 0.0, 0.0)], maxlen=KICK_FRAMES[-1] + 1)

    def scatter(self, t_s: float, e: float, s: float) -> float | None:
        """Take in an innovation; its squared distance from the running mean, None while there are too few."""
        self._e.append(e)
        self.count(t_s, e, s)
        if len(self._e) < SCATTER_FRAMES:
            return None
        away = e - sum(self._e) / SCATTER_FRAMES
        square = min(away * away, NOISE_CLIP * s)
        self._lag += SCATTER_ALPHA * (away * self._last - self._lag)
        self._var += SCATTER_ALPHA * (square - self._var)
        self._last = away
        return square * SCATTER_FRAMES / (SCATTER_FRAMES - 1)

    def count(self, t_s: float, e: float, s: float) -> None:
        """Take in an innovation for the mean only."""
        _, e_sum, s_sum = self._sums[-1]
        self._sums.append((t_s, e_sum + e, s_sum + s))

    def kick(self, windows: tuple[int, ...]) -> tuple[float, float]:
        """The change of flow in g/s that the last innovations speak for (0 when for none), and for how long, in s."""
        sums = self._sums
        now_s, e_now, s_now = sums[-1]
        for frames in windows:
            if len(sums) <= frames:
                break
            _, e_then, s_then = sums[-1 - frames]
            total = e_now - e_then
            if total * total > KICK_Z * KICK_Z * (s_now - s_then) and total * total > self._most(s_now - s_then):
                since_s = now_s - sums[-frames][0]
                self.clear()
                return 2.0 * abs(total) / frames / since_s, since_s
        return 0.0, 0.0

    def _most(self, variance: float) -> float:
        """What the square of a sum of innovations of this variance may come to, their memory included."""
        rho = min(max(self._lag / max(self._var, 1e-9), 0.0), RHO_MOST)
        return KICK_Z * KICK_Z * ((1.0 + rho) / (1.0 - rho)) * variance
