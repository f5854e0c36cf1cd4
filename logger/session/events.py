"""What the pipeline says as it goes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at session time `t_s`; `data` is JSON-ready.

    An alert's data: seq, t_s, code, subject, severity, message, state ("raised", "acknowledged", "cleared"),
    acknowledged_t_s, cleared_t_s. A stage's: stage, by ("mark" or "signals"), why.
    """

    kind: Literal["alert", "stage", "session"]
    t_s: float
    data: dict
