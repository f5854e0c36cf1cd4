"""Watches for the moments that show what the hose pulls: a valve opened, a valve closed."""

from __future__ import annotations

from collections import deque
from math import hypot

import numpy as np

from logger.measure.hose_pull import Pull, estimate_pull, turned_between
from logger.measure.mass_tracker import Happening, MassTracker

BEFORE_S, AFTER_S = 11.0, 5.0
NOTICED_S = 1.0
"""By about how much later a flow is seen than its valve was opened."""
POURS_G_PER_S = 0.25
SEEN_G = 0.5
CHANGES_G = 0.2
"""How much the pull differs from one opening to the next."""


class HoseWatch:
    """`pull` is what is known of the hose's pull so far; `recent` the readings of the last seconds, (s, g)."""

    def __init__(self) -> None:
        self.pull = Pull()
        self.recent: deque[tuple[float, float]] = deque()
        self._due_s: float | None = None
        self._flow = 0.0

    def forget(self) -> None:
        """Another container stands there; the hose is the same."""
        self.recent.clear()
        self._due_s = None

    def valve_opened(self, seen_s: float) -> None:
        self._due_s = seen_s - NOTICED_S + AFTER_S

    def valve_closed(self, seen_s: float, open_for_s: float, mean_g_per_s: float) -> None:
        """After a short opening the readings before are no steady flow: nothing can be read."""
        self._flow = mean_g_per_s
        self._due_s = seen_s + AFTER_S if open_for_s > BEFORE_S else None

    def follow(self, t_s: float, gross_g: float, tracker: MassTracker, flowing: bool, touched: bool) -> list[Happening]:
        """Take in a reading; some seconds after a valve was turned, what that showed.

        Nothing where anything else touched the container meanwhile.
        """
        recent = self.recent
        if touched:
            recent.clear()
        recent.append((t_s, gross_g))
        while recent[0][0] < t_s - BEFORE_S - AFTER_S:
            recent.popleft()
        if self._due_s is None or t_s < self._due_s:
            return []
        about_s, self._due_s = self._due_s - AFTER_S, None
        if recent[0][0] > about_s - BEFORE_S / 2.0 or (tracker.trend.f > POURS_G_PER_S) != flowing:
            return []
        if flowing:
            self._flow = tracker.trend.f
        return self._read(about_s, tracker.noise_g2, flowing)

    def _read(self, about_s: float, noise_g2: float, flowing: bool) -> list[Happening]:
        """A closing is an opening run backwards in time."""
        t, y = np.array(self.recent).T
        between = turned_between(about_s, self._flow)
        if not flowing:
            t, y, between = -t[::-1], y[::-1], (-between[1], -between[0])
        prior = Pull(self.pull.pull_g, hypot(self.pull.u_g, CHANGES_G))
        self.pull = estimate_pull(t, y, between, noise_g2, prior)
        if abs(self.pull.pull_g) < SEEN_G:
            return []
        kind = "hose_pressurised" if flowing else "hose_released"
        return [Happening(kind, about_s, self.pull.pull_g, self.pull.confidence)]
