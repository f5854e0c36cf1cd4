"""What a virtual session is made of: the numbers of its parts, its person and what goes wrong, all known beforehand."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Phase = Literal["vapour", "liquid"]
Marks = Literal["complete", "late", "missing"]


@dataclass(frozen=True)
class ContainerSpec:
    """A container. `full_flow_g_per_s` passes its open valve from 25 °C into 250 kPa; `warm_c` is a warm wrap.

    label: what the technician reads off it.
    """

    tare_g: float
    volume_ml: float
    content_g: float
    full_flow_g_per_s: float = 2.5
    phase: Phase = "vapour"
    nominal_g: float | None = None
    warm_c: float | None = None
    label: str = ""


@dataclass(frozen=True)
class VehicleSpec:
    """The refrigerant circuit: `charge_g` is what it is made for, `content_g` what is in it at first."""

    volume_ml: float = 2500.0
    charge_g: float = 600.0
    content_g: float = 0.0
    air_pa: float = 20.0
    condenser_rise_k: float = 20.0
    evaporator_c: float = 1.0
    vent_above_evaporator_k: float = 6.0


@dataclass(frozen=True)
class HoseSpec:
    """The service hose: `force_g` is its pull on the platform while it is under pressure."""

    volume_ml: float = 70.0
    force_g: float = 0.0


@dataclass(frozen=True)
class VacuumSpec:
    """Pump, and what comes out of the circuit while it is under vacuum.

    free_water_mg boils at once; bound water comes out slowly towards `bound_activity` of its saturation pressure;
    outgassing_pa is the coefficient of a rise that grows with the logarithm of time.
    """

    pump_l_per_s: float = 0.6
    ultimate_pa: float = 8.0
    leak_pa_per_s: float = 0.0
    free_water_mg: float = 0.0
    bound_activity: float = 0.0
    bound_tau_s: float = 400.0
    outgassing_pa: float = 1.0


@dataclass(frozen=True)
class AirSpec:
    """The air of the workshop."""

    temp_c: float = 25.0
    drift_k_per_h: float = 0.0
    altitude_m: float = 0.0
    humidity_pct: float = 50.0


@dataclass(frozen=True)
class SensorSpec:
    """The scale's faults, and the full scale of the deep-vacuum sensor. `noise_g` is rms at 10 readings a second."""

    scale_rate_hz: float = 10.0
    noise_g: float = 0.8
    vibration_g: float = 1.0
    drift_g_per_h: float = 0.0
    creep_share: float = 1e-4
    resolution_g: float = 0.2
    zero_g: float = 0.0
    vacuum_full_scale_pa: float = 2700.0


@dataclass(frozen=True)
class Disturbance:
    """What befalls the platform. `at_target`: it begins not at `start_s` but as the target is being crossed."""

    kind: Literal["bump", "hand", "lift", "wild", "dropped"]
    duration_s: float
    size_g: float = 0.0
    start_s: float = 0.0
    at_target: bool = False


@dataclass(frozen=True)
class Mishap:
    """What goes wrong from `start_s` on; `mishaps.Mishaps` says how. `size`: the temperature in °C around a heated
    container, kelvin more at a condenser without air, Pa/s that an opening lets in."""

    kind: Literal[
        "hose_on_high_side", "heated_container", "blocked_airflow", "turned_over", "opened_to_air", "pump_on_charge"
    ]
    start_s: float = 0.0
    size: float = 0.0


@dataclass(frozen=True)
class TechnicianSpec:
    """The person at the cart. A deaf one closes `overrun_g` past the target, whatever he hears."""

    close_lag_s: float = 1.5
    lag_spread_s: float = 0.2
    heeds_stop: bool = True
    throttles: bool = False
    overrun_g: float = 120.0
    marks: Marks = "complete"


@dataclass(frozen=True)
class Step:
    """One thing the technician does; `technician.Technician` says which kind takes what."""

    kind: Literal["wait", "identify", "recover", "evacuate", "hold", "oil", "charge", "perform", "close"]
    seconds: float = 0.0
    containers: tuple[ContainerSpec, ...] = ()
    purge: bool = False
    compressor_after_s: float = 20.0
    settle_s: float = 20.0
    rate_g_per_s: float = 3.0
    job: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Scenario:
    """A whole session. `session`: keys of session.json that are to stand there besides those made from the rest."""

    seed: int
    refrigerant: str = "R-134a"
    placard_g: tuple[float, float] = (580.0, 620.0)
    target_g: float = 600.0
    steps: tuple[Step, ...] = ()
    disturbances: tuple[Disturbance, ...] = ()
    mishaps: tuple[Mishap, ...] = ()
    vehicle: VehicleSpec = VehicleSpec()
    hose: HoseSpec = HoseSpec()
    vacuum: VacuumSpec = VacuumSpec()
    air: AirSpec = AirSpec()
    sensors: SensorSpec = SensorSpec()
    technician: TechnicianSpec = TechnicianSpec()
    max_duration_s: float = 1800.0
    step_s: float = 0.05
    session: dict[str, object] = field(default_factory=dict)
