"""A vacuum pump on a circuit that still holds refrigerant: told at once where the evacuation was told, else late.

Until the vacuum is there, a circuit that a pump empties looks like one that recovery equipment empties into a container
of its own. Only how fast it went tells, afterwards.
"""

from __future__ import annotations

from logger.measure.atmosphere import Ambient, absolute_pa
from logger.measure.condition import Condition
from logger.measure.ticks import Signal, Tick

UNDER_VACUUM_PA = 20_000.0
CHARGED_KPA = 35.0
"""5 psig: an opened system shows 0 on both sides before evacuation (common practice, no source), a transducer errs by
less."""

PUMPED_WITHIN_S = 20
"""A vacuum pump takes a circuit's vapour from pressure to vacuum in this time; recovery equipment takes minutes (common
practice, no source)."""

FELL_TOO = 0.7
UNTOLD = ("", "identification", "evacuation")
PUMPED_EMPTY = (
    "Stop the pump and shut its valve: the circuit was under pressure seconds ago, so refrigerant is going through the "
    "pump. Recover it first with approved equipment; never vent it."
)


class ChargedEvacuation:
    """Watches for `pressure-before-vacuum`; fed every tick."""

    def __init__(self):
        self._stage = ""
        self._pumped = False
        self._since_charged_s = PUMPED_WITHIN_S + 1
        self._high_when_charged_pa = 0.0
        self._charged = Condition(
            "pressure-before-vacuum",
            "danger",
            "Stop the pump and shut its valve: the system is under pressure. Recover the refrigerant first with "
            "approved equipment; never vent it.",
            on_after_s=2,
            off_after_s=10,
        )

    def update(self, tick: Tick, ambient: Ambient) -> list[Signal]:
        """Signals of one second; a second without a pressure says nothing."""
        gauges = [tick.mean[name] for name in ("low_side", "high_side") if name in tick.mean]
        if not gauges:
            return []
        self._follow(tick, min(gauges), ambient)
        told = tick.stage == "evacuation" and not self._pumped and max(gauges) > CHARGED_KPA
        if not told and self._emptied_fast(tick, ambient):
            return self._charged.update(True, False, PUMPED_EMPTY)
        released = tick.stage != "evacuation" or self._pumped or max(gauges) < CHARGED_KPA / 2.0
        return self._charged.update(told, released)

    def _follow(self, tick: Tick, lowest_kpa: float, ambient: Ambient) -> None:
        """What comes after a vacuum in the same evacuation is a charge that nobody told, or a vacuum that was lost."""
        if tick.stage == "evacuation" != self._stage:
            self._pumped = False
        self._stage = tick.stage
        self._pumped = self._pumped or absolute_pa(lowest_kpa, ambient.pa) < UNDER_VACUUM_PA
        if lowest_kpa > CHARGED_KPA:
            self._since_charged_s = 0
            self._high_when_charged_pa = absolute_pa(tick.mean.get("high_side", lowest_kpa), ambient.pa)
        else:
            self._since_charged_s += 1

    def _emptied_fast(self, tick: Tick, ambient: Ambient) -> bool:
        """From pressure to vacuum within seconds, the high side falling with it, as a compressor cannot do."""
        if self._since_charged_s > PUMPED_WITHIN_S or tick.stage not in UNTOLD or tick.compressor_on:
            return False
        if "low_side" not in tick.mean or "high_side" not in tick.mean:
            return False
        low_pa, high_pa = (absolute_pa(tick.mean[side], ambient.pa) for side in ("low_side", "high_side"))
        return low_pa < UNDER_VACUUM_PA and high_pa < FELL_TOO * self._high_when_charged_pa
