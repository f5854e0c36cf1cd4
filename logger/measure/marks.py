"""What the technician told the logger."""

from __future__ import annotations

from dataclasses import dataclass, field

from firmware_bridge.stage_names import STAGES

__all__ = ["MARKS", "STAGES", "Mark"]

MARKS = ("stage", "container_on", "purge", "compressor", "ack", "note")


@dataclass(frozen=True, slots=True)
class Mark:
    """One thing told, at session time `t_s`; it counts after every sample of that time."""

    t_s: float
    mark: str
    detail: dict = field(default_factory=dict)
