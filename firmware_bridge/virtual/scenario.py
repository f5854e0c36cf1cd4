"""Invented sessions: one whole demonstration, and random fills and holds for tests and benches.

No vehicle and no person behind them is real. Spreads are wide on purpose; flow rates, hose pull and the lag of a hand
are common practice, no source.
"""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Literal

from firmware_bridge.virtual.setting import (
    AirSpec,
    ContainerSpec,
    Disturbance,
    HoseSpec,
    Marks,
    Phase,
    Scenario,
    SensorSpec,
    Step,
    TechnicianSpec,
    VacuumSpec,
    VehicleSpec,
)
from firmware_bridge.virtual.vacuum import water_psat_pa

FillKind = Literal["undisturbed", "fast_liquid", "disturbed", "three_cans"]
HoldKind = Literal["tight", "leak", "moisture", "outgassing", "ambient-drift"]
_SMALL_CAN_ML = 360.0
_CYLINDER_FILL = 0.8
_LEVELS_OFF_BELOW_PA = 2300.0
"""So that the deep-vacuum sensor sees it level off."""


_NO_VEHICLES_VIN = "1XXDEM0C90T000001"
"""Right by its check digit, and no vehicle's: 0 at place 10 stands for no model year (49 CFR 565.15, table VII)."""
_AT_FIRST = {
    "technician": "A. N. Example",
    "certificate": "EXAMPLE-0000",
    "odometer_km": 98765.0,
    "placard_text": "R-134a 520 g +/- 15 g",
    "complaint": "blows warm; invented, as all of this",
    "identifier_result": "pass",
    "identifier_purity_pct": 99.5,
}
_UNDER_VACUUM = {
    "leak_verdict": "found",
    "leak_method": "dye of an earlier service",
    "leak_place": "condenser",
    "repair_done": True,
    "repair": "condenser and receiver-drier replaced",
    "parts": [{"part": "condenser", "oil_ml": 30.0}, {"part": "receiver-drier", "oil_ml": 30.0}],
    "oil_type": "PAG 46",
    "dye_ml": 7.0,
}
_AT_LAST = {"checked_caps_and_label": True, "notes": "Invented session for the demonstration."}


def demo_scenario(seed: int = 1, containers: Literal["cans", "cylinder"] = "cans") -> Scenario:
    """A whole session of about a quarter of an hour, from the vehicle's label to the closed caps.

    Its waits are far shorter than good practice asks for; a real evacuation and hold take from half an hour upwards.
    """
    recovery = ContainerSpec(tare_g=5200.0, volume_ml=13500.0, content_g=2100.0)
    return Scenario(
        seed=seed,
        placard_g=(505.0, 535.0),
        target_g=520.0,
        steps=(
            Step("identify", seconds=8.0, job=_AT_FIRST),
            Step("recover", containers=(recovery,), settle_s=8.0, rate_g_per_s=4.0),
            Step("wait", seconds=35.0),  # until what is left in the circuit has no pressure to speak of
            Step("evacuate", seconds=120.0),
            Step("hold", seconds=320.0),
            Step("oil", seconds=10.0, job=_UNDER_VACUUM),
            Step("charge", containers=_demo_containers(containers), compressor_after_s=25.0, settle_s=12.0),
            Step("perform", seconds=70.0, job=_AT_LAST),
            Step("close", seconds=2.0),
        ),
        disturbances=(Disturbance("hand", 3.0, 25.0, start_s=689.0), Disturbance("bump", 0.5, 120.0, start_s=769.0)),
        vehicle=VehicleSpec(volume_ml=2300.0, charge_g=520.0, content_g=310.0, air_pa=600.0),
        hose=HoseSpec(volume_ml=75.0, force_g=1.2),
        vacuum=VacuumSpec(pump_l_per_s=0.8, outgassing_pa=0.5),
        air=AirSpec(temp_c=24.5, drift_k_per_h=0.8, altitude_m=120.0, humidity_pct=48.0),
        sensors=SensorSpec(noise_g=0.7, vibration_g=1.5, drift_g_per_h=0.8),
        technician=TechnicianSpec(close_lag_s=1.4),
        session=_demo_session(containers),
    )


def _demo_containers(kind: str) -> tuple[ContainerSpec, ...]:
    if kind == "cylinder":
        return (ContainerSpec(tare_g=4980.0, volume_ml=13500.0, content_g=8250.0, full_flow_g_per_s=2.6),)
    can = ContainerSpec(
        tare_g=182.0, volume_ml=_SMALL_CAN_ML, content_g=341.0, full_flow_g_per_s=2.8, nominal_g=340.0, warm_c=37.0
    )
    return (can, replace(can, tare_g=178.5, content_g=339.2))


def _demo_session(containers: str) -> dict[str, object]:
    vehicle = {"registration": "DEMO 1", "vin": _NO_VEHICLES_VIN, "note": "invented vehicle"}
    session: dict[str, object] = {"vehicle": vehicle}
    if containers == "cans":
        session["container_nominal_g"] = 340.0
    return session


def random_fill(
    seed: int, kind: FillKind = "undisturbed", *, marks: Marks = "complete", rate_hz: float = 10.0
) -> Scenario:
    """A charge into an evacuated vehicle, everything about it drawn from `seed`.

    undisturbed: vapour at 1-4 g/s. fast_liquid: 10-30 g/s. disturbed: bumps, hands, lifts, wild readings, and often a
    hand that comes to rest as the target is crossed. three_cans: two swaps. Raises ValueError for another kind.
    """
    if kind not in ("undisturbed", "fast_liquid", "disturbed", "three_cans"):
        raise ValueError(f"no fill of kind {kind!r}")
    rng = random.Random(f"fill {kind} {seed}")
    target_g = float(round(rng.uniform(720.0, 900.0) if kind == "three_cans" else rng.uniform(380.0, 880.0)))
    tolerance_g = float(rng.choice([15, 20, 25, 30]))
    containers, session = _random_containers(rng, kind, target_g)
    charge = Step(
        "charge",
        containers=containers,
        purge=rng.random() < 0.3,
        compressor_after_s=rng.uniform(2.0, 4.0) if kind == "fast_liquid" else rng.uniform(12.0, 40.0),
        settle_s=rng.uniform(12.0, 25.0),
    )
    scenario = _random_workshop(rng, seed)
    return replace(
        scenario,
        placard_g=(target_g - tolerance_g, target_g + tolerance_g),
        target_g=target_g,
        steps=(Step("wait", seconds=2.0), Step("evacuate", seconds=25.0), Step("hold", seconds=15.0), charge, _THE_END),
        disturbances=_random_disturbances(rng, _fill_ends_s(containers, target_g)) if kind == "disturbed" else (),
        vehicle=replace(scenario.vehicle, charge_g=target_g),
        sensors=replace(scenario.sensors, scale_rate_hz=rate_hz),
        technician=replace(scenario.technician, marks=marks),
        max_duration_s=2000.0,
        session=session,
    )


_THE_END = Step("close", seconds=3.0)


def _random_workshop(rng: random.Random, seed: int) -> Scenario:
    """Everything that is not the job itself: vehicle, hose, air, sensors, the person's ways."""
    return Scenario(
        seed=seed,
        refrigerant=rng.choice(["R-134a", "R-134a", "R-1234yf"]),
        vehicle=VehicleSpec(
            volume_ml=float(round(rng.uniform(1800.0, 3200.0))),
            air_pa=rng.uniform(12.0, 40.0),
            condenser_rise_k=rng.uniform(15.0, 28.0),
            evaporator_c=rng.uniform(-4.0, 5.0),
            vent_above_evaporator_k=rng.uniform(4.0, 10.0),
        ),
        hose=HoseSpec(volume_ml=round(rng.uniform(40.0, 110.0), 1), force_g=rng.uniform(-2.0, 2.0)),
        vacuum=VacuumSpec(pump_l_per_s=rng.uniform(0.4, 1.0), outgassing_pa=rng.uniform(0.5, 4.0)),
        air=AirSpec(
            temp_c=rng.uniform(16.0, 34.0),
            drift_k_per_h=rng.uniform(-1.5, 1.5),
            altitude_m=rng.choice([0.0, 0.0, 250.0, 800.0, 1600.0]),
            humidity_pct=rng.uniform(25.0, 75.0),
        ),
        sensors=SensorSpec(
            noise_g=rng.uniform(0.3, 1.5),
            vibration_g=rng.uniform(0.0, 5.0),
            drift_g_per_h=rng.uniform(-3.0, 3.0),
            creep_share=rng.uniform(0.0, 2e-4),
            resolution_g=rng.choice([0.1, 0.2, 0.5]),
            zero_g=rng.uniform(-4.0, 4.0),
        ),
        technician=TechnicianSpec(
            close_lag_s=round(rng.uniform(0.6, 3.0), 1),
            lag_spread_s=rng.uniform(0.05, 0.3),
            throttles=rng.random() < 0.4,
        ),
    )


def _random_containers(
    rng: random.Random, kind: FillKind, target_g: float
) -> tuple[tuple[ContainerSpec, ...], dict[str, object]]:
    if kind == "three_cans":
        return tuple(_random_can(rng, rng.uniform(2.2, 4.5)) for _ in range(3)), {"container_nominal_g": 340.0}
    if kind == "disturbed" and target_g < 640.0 and rng.random() < 0.4:
        return tuple(_random_can(rng, rng.uniform(2.2, 4.5)) for _ in range(2)), {"container_nominal_g": 340.0}
    if kind == "fast_liquid":
        return (_random_cylinder(rng, target_g, rng.uniform(12.0, 32.0), "liquid"),), {}
    return (_random_cylinder(rng, target_g, rng.uniform(1.3, 4.2), "vapour"),), {}


def _random_can(rng: random.Random, full_flow_g_per_s: float) -> ContainerSpec:
    return ContainerSpec(
        tare_g=rng.uniform(165.0, 215.0),
        volume_ml=_SMALL_CAN_ML,
        content_g=rng.gauss(340.0, 2.0),
        full_flow_g_per_s=full_flow_g_per_s,
        nominal_g=340.0,
        warm_c=rng.uniform(36.0, 42.0),
    )


def _random_cylinder(rng: random.Random, target_g: float, full_flow_g_per_s: float, phase: Phase) -> ContainerSpec:
    """Between 2 and 15 kg of refrigerant in it, never less than the job needs; small ones stand in a warm wrap."""
    content_g = rng.uniform(max(2000.0, target_g + 600.0), 15000.0)
    volume_ml = max(4900.0, content_g / _CYLINDER_FILL / 1.1)
    warm_c = rng.uniform(36.0, 42.0) if phase == "vapour" and content_g < 7000.0 else None
    return ContainerSpec(
        tare_g=1500.0 + 0.26 * volume_ml,
        volume_ml=volume_ml,
        content_g=content_g,
        full_flow_g_per_s=full_flow_g_per_s,
        phase=phase,
        warm_c=warm_c,
    )


def _fill_ends_s(containers: tuple[ContainerSpec, ...], target_g: float) -> float:
    """About when the fill will be over."""
    return 80.0 + 40.0 * (len(containers) - 1) + 1.1 * target_g / containers[0].full_flow_g_per_s


def _random_disturbances(rng: random.Random, until_s: float) -> tuple[Disturbance, ...]:
    """From the container's arrival until about the end of the fill."""

    def some(least: int, most: int) -> list[float]:
        return [rng.uniform(50.0, until_s) for _ in range(rng.randint(least, most))]

    def size(low: float, high: float) -> float:
        return rng.choice([-1.0, 1.0]) * rng.uniform(low, high)

    happen = [Disturbance("bump", rng.uniform(0.1, 1.0), size(40.0, 400.0), t) for t in some(2, 6)]
    happen += [Disturbance("hand", rng.uniform(2.0, 10.0), size(10.0, 60.0), t) for t in some(1, 4)]
    happen += [Disturbance("lift", rng.uniform(2.0, 7.0), 0.0, t) for t in some(0, 1)]
    happen += [Disturbance("wild", 0.1, size(2e3, 2e5), t) for t in some(0, 3)]
    happen += [Disturbance("dropped", rng.uniform(0.1, 1.5), 0.0, t) for t in some(0, 2)]
    if rng.random() < 0.6:
        happen.append(Disturbance("hand", rng.uniform(2.0, 8.0), size(10.0, 60.0), at_target=True))
    return tuple(happen)


def random_hold(seed: int, kind: HoldKind = "tight", *, marks: Marks = "complete", rate_hz: float = 10.0) -> Scenario:
    """A pump-down and a vacuum hold of 20-40 min with one cause of rise, or none.

    ambient-drift: tight, with some dry gas left and the workshop warming or cooling by 2-6 K an hour. moisture: cool
    enough for a deep-vacuum sensor to see water boil. Raises ValueError for another kind.
    """
    if kind not in ("tight", "leak", "moisture", "outgassing", "ambient-drift"):
        raise ValueError(f"no hold of kind {kind!r}")
    rng = random.Random(f"hold {kind} {seed}")
    scenario = _random_workshop(rng, seed)
    air = replace(scenario.air, drift_k_per_h=rng.uniform(-1.0, 1.0))
    if kind == "ambient-drift":
        air = replace(air, drift_k_per_h=rng.choice([-1.0, 1.0]) * rng.uniform(2.0, 6.0))
    if kind == "moisture":
        air = replace(air, temp_c=rng.uniform(12.0, 22.0))
    pump_s, hold_s = rng.uniform(500.0, 900.0), rng.uniform(1200.0, 2400.0)
    return replace(
        scenario,
        steps=(Step("wait", seconds=3.0), Step("evacuate", seconds=pump_s), Step("hold", seconds=hold_s), _THE_END),
        vehicle=replace(scenario.vehicle, air_pa=101325.0),
        vacuum=_random_vacuum(rng, kind, air.temp_c),
        air=air,
        sensors=replace(scenario.sensors, scale_rate_hz=rate_hz),
        technician=replace(scenario.technician, marks=marks),
        max_duration_s=4000.0,
        step_s=0.1,
    )


def _random_vacuum(rng: random.Random, kind: HoldKind, ambient_c: float) -> VacuumSpec:
    dry = VacuumSpec(
        pump_l_per_s=rng.uniform(0.4, 1.0), ultimate_pa=rng.uniform(4.0, 15.0), outgassing_pa=rng.uniform(0.5, 4.0)
    )
    if kind == "leak":
        return replace(dry, leak_pa_per_s=10.0 ** rng.uniform(-1.7, 0.3))
    if kind == "outgassing":
        return replace(dry, outgassing_pa=rng.uniform(10.0, 60.0))
    if kind == "moisture":
        wet_mg = rng.choice([0.0, rng.uniform(1000.0, 4000.0)])
        tau_s = rng.uniform(150.0, 600.0)
        activity = min(rng.uniform(0.15, 0.8), _LEVELS_OFF_BELOW_PA / water_psat_pa(ambient_c))
        return replace(dry, free_water_mg=wet_mg, bound_activity=activity, bound_tau_s=tau_s)
    if kind == "ambient-drift":
        return replace(dry, ultimate_pa=rng.uniform(15.0, 60.0))
    return dry
