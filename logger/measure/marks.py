"""What the technician told the logger."""

from __future__ import annotations

from dataclasses import dataclass, field

STAGES = (
    "identification",
    "recovery",
    "pressure_hold",
    "evacuation",
    "vacuum_hold",
    "oil_and_dye",
    "charging",
    "performance",
    "closed",
)

MARKS = ("stage", "container_on", "purge", "compressor", "ack", "note")


@dataclass(frozen=True, slots=True)
class Mark:
    """One thing told, at session time `t_s`; it counts after every sample of that time."""

    t_s: float
    mark: str
    detail: dict = field(default_factory=dict)
