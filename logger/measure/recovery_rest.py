"""Whether a recovery was complete: what the circuit did once the recovery unit had stopped.

Refrigerant comes out of the oil for minutes after the needle has reached a vacuum. So the circuit is left alone for
five minutes, and recovered from again if the vacuum does not stay; it is done when it stood still for two (SAE J1989,
40 CFR 82 subpart B appendix A; SAE J2211 says the same of R-134a, from memory). Ten kPa of vacuum is our line: it lies
beyond what a service transducer may be wrong by.
"""

from __future__ import annotations

from collections import deque

from logger.measure.ticks import Tick

VACUUM_KPA = -10.0
WAIT_S = 300
STILL_S = 120
STILL_KPA = 2.0
DRAWN_ON_KPA = 3.0
"""A fall by more than this below the lowest, or below where it had crept back to, is the recovery unit at work."""

SMOOTH_S = 5
PRESSURES = ("low_side", "high_side")


class RecoveryRest:
    """Follows the circuit's pressure through the recovery, and through what comes after it until somebody pumps."""

    def __init__(self):
        self._recovering = self._ended = False
        self._recent: deque[float] = deque(maxlen=SMOOTH_S)
        self._rest: list[float] = []

    def update(self, tick: Tick) -> None:
        """Take one second in, ticks in order."""
        if tick.stage == "recovery":
            self._recovering, self._ended = True, False
        elif self._recovering and tick.stage:
            self._ended = True
        gauges = [tick.mean[name] for name in PRESSURES if name in tick.mean]
        if not self._recovering or self._ended or not gauges:
            return
        self._recent.append(max(gauges))
        self._follow(sum(self._recent) / len(self._recent))

    def findings(self) -> dict | None:
        """lowest_kpa and ended_kpa (gauge), waited_s, complete (None: not judged) and why; None without a recovery."""
        if not self._recovering:
            return None
        if not self._rest:
            return {"lowest_kpa": None, "ended_kpa": None, "waited_s": None, "complete": None, "why": _NO_PRESSURE}
        waited_s = len(self._rest) - 1
        complete, why = self._judged(waited_s)
        numbers = {"lowest_kpa": self._rest[0], "ended_kpa": self._rest[-1], "waited_s": float(waited_s)}
        return numbers | {"complete": complete, "why": why}

    def _follow(self, gauge_kpa: float) -> None:
        """The rest begins anew whenever the pressure is drawn down again."""
        highest = max(self._rest, default=gauge_kpa)
        if not self._rest or gauge_kpa < self._rest[0] or gauge_kpa < highest - DRAWN_ON_KPA:
            self._rest = [gauge_kpa]
        else:
            self._rest.append(gauge_kpa)

    def _judged(self, waited_s: int) -> tuple[bool | None, str]:
        lowest, ended = self._rest[0], self._rest[-1]
        if lowest > VACUUM_KPA:
            return False, f"it was not drawn into a vacuum: {lowest:.0f} kPa (gauge) at the lowest"
        if ended > 0.0:
            return False, f"the pressure came back to {ended:.0f} kPa (gauge): recover again"
        if waited_s < WAIT_S:
            return None, f"left alone for {waited_s} s only; five minutes show whether more comes out of the oil"
        risen = ended - min(self._rest[-STILL_S:])
        if risen > STILL_KPA:
            return False, f"still rising by {risen:.1f} kPa in the last two minutes: recover again"
        return True, f"the vacuum stood for {waited_s / 60:.0f} min"


_NO_PRESSURE = "no pressure was read during the recovery"
