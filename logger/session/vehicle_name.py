"""What a vehicle is known again by: its VIN, and its registration, which may move on to another vehicle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class VehicleName:
    """Empty for what is not noted. The VIN goes before the registration."""

    vin: str
    registration: str

    def __bool__(self) -> bool:
        return bool(self.vin or self.registration)

    def __str__(self) -> str:
        return self.vin or self.registration


def vehicle_name(job: Mapping, vehicle: Mapping) -> VehicleName:
    """From the job's notes, else from the session's description."""
    return VehicleName(*(_plain(job.get(key) or vehicle.get(key)) for key in ("vin", "registration")))


def _plain(text: object) -> str:
    """As two people would write the same one: capitals, no spaces."""
    return "".join(str(text or "").upper().split())
