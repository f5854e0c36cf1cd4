"""The slow judgements behind one door: what pressures and temperatures say, second by second.

Pure and causal: the same ticks give the same signals and findings. Whatever a missing sensor leaves open is None with a
why, and a refrigerant that is not known closes only what needs its saturation curve.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from logger.measure.atmosphere import Ambient, absolute_pa, ambient_pressure
from logger.measure.charge_context import ChargeContext
from logger.measure.charging_safety import ChargingSafety
from logger.measure.container_limit import ContainerLimit
from logger.measure.evacuation import Evacuation
from logger.measure.hold_verdict import WANTED_PA_PER_S
from logger.measure.performance import Performance
from logger.measure.pressure_holds import WANTED_PA_PER_S as WANTED_FALL_PA_PER_S
from logger.measure.pressure_holds import PressureHolds
from logger.measure.recovery_rest import RecoveryRest
from logger.measure.refrigerants import UnknownRefrigerant
from logger.measure.saturation import Saturation, saturation
from logger.measure.static_check import StaticCheck
from logger.measure.ticks import Signal, Tick
from logger.measure.vacuum_hold import FullScale, VacuumHold


@dataclass(frozen=True)
class PhysicsSetup:
    """What a session and its cart say. limits: `high_side_kpa` (gauge), `hold_leak_pa_per_s` (a hold's wanted leak),
    `hold_fall_pa_per_s` (the same of a pressure hold)."""

    refrigerant: str
    system_volume_ml: float | None = None
    hose_volume_ml: float | None = None
    altitude_m: float | None = None
    limits: Mapping[str, float] = field(default_factory=dict)


class Physics:
    """Fed every tick in order; says what starts and ends, and what it has found."""

    def __init__(self, setup: PhysicsSetup):
        self.setup = setup
        self._curve = _curve(setup.refrigerant)
        wanted = float(setup.limits.get("hold_leak_pa_per_s", WANTED_PA_PER_S))
        self._full_scale = FullScale()
        self._hold = VacuumHold(self._curve, setup.system_volume_ml, wanted)
        wanted = float(setup.limits.get("hold_fall_pa_per_s", WANTED_FALL_PA_PER_S))
        self._pressure_hold = PressureHolds(self._curve, setup.system_volume_ml, wanted)
        self._evacuation = Evacuation(_pumped_ml(setup))
        self._context = ChargeContext()
        self._safety = ChargingSafety(self._curve, setup.system_volume_ml, setup.limits)
        self._performance = Performance(self._curve)
        self._static = StaticCheck(self._curve, setup.system_volume_ml)
        self._recovery_rest = RecoveryRest()
        self.container_limit = ContainerLimit(self._curve)
        self._ambient = ambient_pressure(None, setup.altitude_m)
        self._sides: dict[str, float] = {}

    def update(self, tick: Tick) -> list[Signal]:
        """Signals of one second, ticks in order."""
        self._ambient = self._ambient_of(tick)
        self._sides = {name: tick.last[name] for name in ("low_side", "high_side") if name in tick.last}
        p_pa = tick.mean.get("vacuum")
        saturated = p_pa is not None and self._full_scale.saturated(p_pa, tick.last.get("vacuum", p_pa))
        self._hold.update(tick, p_pa, saturated, self._ambient)
        self._pressure_hold.update(tick, self._ambient)
        signals = self._evacuation.update(tick, p_pa, saturated, self._ambient, self._hold.holding)
        self._context.update(tick, p_pa, saturated, self._ambient)
        self._performance.update(tick, self._ambient)
        self._static.update(tick, self._ambient)
        self._recovery_rest.update(tick)
        signals += self.container_limit.update(tick)
        return signals + self._safety.update(tick, self._context, self._ambient)

    @property
    def holding(self) -> bool:
        """Whether a vacuum hold is running."""
        return self._hold.holding

    def holds(self) -> list[dict]:
        """The vacuum holds so far, as in the findings."""
        return self._hold.findings()

    def evacuated(self) -> bool:
        """Whether a vacuum was seen that has not been lost since."""
        return self._context.evacuated

    def live(self) -> dict:
        """What a phone may show of the physics now."""
        return {
            "static": self._static.findings(),
            "saturation": {"low_c": self._saturated_c("low_side"), "high_c": self._saturated_c("high_side")},
            "evacuation": self._evacuation.live(),
            "hold": self._hold.live(),
            "pressure_hold": self._pressure_hold.live(),
            "performance": self._performance.live(),
        }

    def findings(self) -> dict:
        """What a session's findings take from the physics."""
        return {
            "static": self._static.findings(),
            "recovery_rest": self._recovery_rest.findings(),
            "evacuation": self._evacuation.findings(),
            "vacuum_hold": self._hold.findings(),
            "vacuum_hold_why": self._hold.why_none(),
            "pressure_hold": self._pressure_hold.findings(),
            "performance": self._performance.findings(),
        }

    def _ambient_of(self, tick: Tick) -> Ambient:
        return ambient_pressure(tick.last.get("barometer"), self.setup.altitude_m)

    def _saturated_c(self, side: str) -> float | None:
        if self._curve is None or side not in self._sides:
            return None
        return self._curve.temperature_c(absolute_pa(self._sides[side], self._ambient.pa))


def _curve(number: str) -> Saturation | None:
    try:
        return saturation(number)
    except UnknownRefrigerant:
        return None


def _pumped_ml(setup: PhysicsSetup) -> float | None:
    """Circuit and hoses: what the pump has to empty."""
    if setup.system_volume_ml is None:
        return None
    return setup.system_volume_ml + (setup.hose_volume_ml or 0.0)
