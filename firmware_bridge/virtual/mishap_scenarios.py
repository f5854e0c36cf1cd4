"""Invented sessions in which one thing goes wrong that can hurt someone or a compressor."""

from __future__ import annotations

from typing import Literal

from firmware_bridge.virtual.setting import (
    AirSpec,
    ContainerSpec,
    HoseSpec,
    Marks,
    Mishap,
    Scenario,
    SensorSpec,
    Step,
    TechnicianSpec,
    VacuumSpec,
    VehicleSpec,
)

MishapKind = Literal[
    "backflow", "hot container", "high side", "liquid", "charged system pumped", "vacuum lost", "air in the system"
]
_CYLINDER = ContainerSpec(tare_g=4200.0, volume_ml=9000.0, content_g=6000.0, full_flow_g_per_s=2.6)
_SMALL_CAN = ContainerSpec(tare_g=182.0, volume_ml=360.0, content_g=341.0, full_flow_g_per_s=2.6)
_FILL_GOES_WRONG_S = 150.0
_WARM_UP_S = 75.0


def mishap_scenario(kind: MishapKind, seed: int = 1, *, marks: Marks = "complete") -> Scenario:
    """A session of a few minutes that ends some time after the mishap. Raises KeyError for another kind."""
    make = {
        "backflow": _fill(Mishap("hose_on_high_side", _FILL_GOES_WRONG_S)),
        "hot container": _fill(Mishap("heated_container", _WARM_UP_S, 90.0), container=_SMALL_CAN, lasts_s=300.0),
        "high side": _fill(Mishap("blocked_airflow", _FILL_GOES_WRONG_S, 50.0)),
        "liquid": _fill(Mishap("turned_over", _FILL_GOES_WRONG_S), lasts_s=170.0),
        "charged system pumped": {
            "steps": (Step("wait", seconds=40.0), Step("evacuate", seconds=60.0), Step("close", seconds=2.0)),
            "vehicle": VehicleSpec(volume_ml=2300.0, charge_g=520.0, content_g=310.0),
            "mishaps": (Mishap("pump_on_charge"),),
        },
        "vacuum lost": {
            "steps": (Step("evacuate", seconds=240.0), Step("hold", seconds=400.0), Step("close", seconds=2.0)),
            "vehicle": VehicleSpec(volume_ml=2300.0, charge_g=520.0, air_pa=101325.0),
            "mishaps": (Mishap("opened_to_air", 480.0, 3000.0),),
        },
        "air in the system": {
            "steps": (Step("wait", seconds=90.0), Step("close", seconds=2.0)),
            "vehicle": VehicleSpec(volume_ml=2300.0, charge_g=520.0, content_g=310.0, air_pa=150_000.0),
        },
    }[kind]
    return Scenario(
        seed=seed,
        placard_g=(700.0, 760.0),
        target_g=730.0,
        hose=HoseSpec(volume_ml=75.0, force_g=1.0),
        air=AirSpec(temp_c=24.0, altitude_m=120.0),
        vacuum=VacuumSpec(pump_l_per_s=0.8, outgassing_pa=1.0),
        sensors=SensorSpec(noise_g=0.7, vibration_g=1.5),
        technician=TechnicianSpec(marks=marks),
        **{"max_duration_s": 900.0, **make},
    )


def _fill(mishap: Mishap, container: ContainerSpec = _CYLINDER, lasts_s: float = 220.0) -> dict:
    """A charge from the low side with the compressor running from its twentieth second on."""
    charge = Step("charge", containers=(container,), compressor_after_s=20.0, settle_s=12.0)
    return {
        "steps": (Step("wait", seconds=2.0), Step("evacuate", seconds=25.0), Step("hold", seconds=15.0), charge),
        "vehicle": VehicleSpec(volume_ml=2300.0, charge_g=730.0),
        "mishaps": (mishap,),
        "max_duration_s": lasts_s,
    }
