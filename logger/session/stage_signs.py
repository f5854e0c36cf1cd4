"""What the readings say about the stage: each second, the stage they speak for, if any, and how sure.

Lines are ours; they lie well apart from one another, so that a stage is found a few seconds late rather than wrongly.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from logger.measure.atmosphere import absolute_pa, ambient_pressure
from logger.measure.ticks import Tick, compressor_runs

PUMPED_PA = 20_000.0
"""Recovery equipment draws a circuit down to a part of an atmosphere; only a vacuum pump gets below this."""

DEEP_PA = 2000.0
PUMPED_S, PUMPED_AFTER_HOLD_S = 3, 20
HELD_S = 10
RUNNING_S = 45
FLOWS_G_PER_S, MOVED_G, MOVED_WITHIN_S = 0.3, 5.0, 15
GAINS_G_PER_S, GAINED_G = 0.5, 12.0
AT_REST_S = 30
AT_REST_SHORT_OF_TARGET_S = 120
CHARGED_LEAST_G = 20.0
NEAR_TARGET_G = 15.0
FALLING_KPA = 60.0


@dataclass(frozen=True, slots=True)
class Sign:
    """The stage the readings speak for; certain: sure enough to go over to it unasked."""

    stage: str
    why: str
    certain: bool = True


class StageSigns:
    """Fed every tick in order. target_g: what the charge is to come to, None where the session does not say."""

    def __init__(self, target_g: float | None, altitude_m: float | None):
        self._target_g, self._altitude_m = target_g, altitude_m
        self._pumped_s = self._held_s = self._running_s = self._rest_s = 0
        self._since_hold_s = PUMPED_AFTER_HOLD_S
        self._flows: deque[float] = deque(maxlen=MOVED_WITHIN_S)
        self._drawn: deque[float] = deque(maxlen=MOVED_WITHIN_S)
        self._gross: deque[float] = deque(maxlen=MOVED_WITHIN_S)
        self._gauge: deque[float] = deque(maxlen=MOVED_WITHIN_S)
        self._charged = False

    def update(self, tick: Tick, holding: bool) -> Sign | None:
        """The sign of one second, None while the readings speak for no stage. holding: the vacuum is isolated."""
        self._remember(tick, holding)
        if self._draws(tick):
            self._charged = True
            return Sign("charging", "the container is being drawn and the circuit is not under vacuum")
        if self._gains(tick):
            return Sign("recovery", "the container gains mass", tick.stage != "charging")
        if self._held_s >= HELD_S:
            return Sign("vacuum_hold", "the vacuum is isolated: its pressure turned from falling to rising")
        if self._pumped_s >= PUMPED_S and self._since_hold_s >= PUMPED_AFTER_HOLD_S:
            return Sign("evacuation", "the circuit is under a vacuum that only a pump makes")
        if self._runs_on(tick):
            return Sign("performance", "the charge has come to rest and the compressor runs")
        return self._emptied()

    def _remember(self, tick: Tick, holding: bool) -> None:
        running, scale = compressor_runs(tick), tick.scale
        still = not scale.present or abs(scale.flow_g_per_s) < FLOWS_G_PER_S
        self._running_s = _counted(self._running_s, running)
        self._pumped_s = _counted(self._pumped_s, self._under_vacuum(tick) and not running)
        self._held_s = _counted(self._held_s, holding)
        self._since_hold_s = _counted(self._since_hold_s, not holding)
        self._rest_s = _counted(self._rest_s, still)
        if "low_side" in tick.mean:
            self._gauge.append(tick.mean["low_side"])
        self._weigh(tick)

    def _weigh(self, tick: Tick) -> None:
        scale = tick.scale
        if not scale.present or scale.gross_g is None:
            self._flows.clear()
            self._drawn.clear()
            self._gross.clear()
            return
        self._flows.append(scale.flow_g_per_s)
        self._drawn.append(scale.drawn_g)
        self._gross.append(scale.gross_g)

    def _under_vacuum(self, tick: Tick) -> bool:
        """By the low side where there is one; the deep-vacuum sensor may sit behind a closed valve."""
        gauge_kpa = tick.mean.get("low_side", tick.mean.get("high_side"))
        if gauge_kpa is None:
            return tick.mean.get("vacuum", DEEP_PA) < DEEP_PA
        ambient = ambient_pressure(tick.last.get("barometer"), self._altitude_m)
        return absolute_pa(gauge_kpa, ambient.pa) < PUMPED_PA

    def _draws(self, tick: Tick) -> bool:
        if len(self._drawn) < 5 or self._under_vacuum(tick):
            return False
        flowing = sum(flow > FLOWS_G_PER_S for flow in list(self._flows)[-5:])
        return flowing >= 4 and self._drawn[-1] - min(self._drawn) > MOVED_G

    def _gains(self, tick: Tick) -> bool:
        """Mass comes in while nothing runs: with the compressor on it would be a flow the wrong way."""
        if len(self._gross) < 5 or self._running_s or tick.compressor_on:
            return False
        gaining = sum(flow < -GAINS_G_PER_S for flow in list(self._flows)[-5:])
        return gaining >= 4 and self._gross[-1] - min(self._gross) > GAINED_G

    def _runs_on(self, tick: Tick) -> bool:
        if not self._charged or self._running_s < RUNNING_S or tick.scale.delivered_g < CHARGED_LEAST_G:
            return False
        short = self._target_g is not None and tick.scale.delivered_g < self._target_g - NEAR_TARGET_G
        return self._rest_s >= (AT_REST_SHORT_OF_TARGET_S if short else AT_REST_S)

    def _emptied(self) -> Sign | None:
        """Pressure that leaves a circuit at rest with no container on the scale: recovered elsewhere, or lost."""
        if len(self._gauge) < MOVED_WITHIN_S or self._running_s or self._gross:
            return None
        if self._gauge[0] - self._gauge[-1] < FALLING_KPA:
            return None
        return Sign(
            "recovery", "the pressure of the circuit at rest falls, and no container stands on the scale", False
        )


def _counted(seconds: int, goes_on: bool) -> int:
    return seconds + 1 if goes_on else 0
