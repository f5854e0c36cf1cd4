"""Which stage the session is in, since when, and by whose word."""

from __future__ import annotations

from logger.measure.marks import STAGES
from logger.session.events import Event

FIRST_STAGE = "identification"


class StageKeeper:
    """The stages a session went through, in the order it went."""

    def __init__(self) -> None:
        self.stage = FIRST_STAGE
        self._entered: list[dict] = []

    def enter(self, t_s: float, stage: str, by: str, why: str) -> list[Event]:
        """Go over to `stage`; entering the present one, or one that is none, changes nothing."""
        if stage == self.stage or stage not in STAGES:
            return []
        self.stage = stage
        entry = {"stage": stage, "t_s": t_s, "by": by, "why": why}
        self._entered.append(entry)
        return [Event("stage", t_s, dict(entry))]

    def to_json(self) -> list[dict]:
        return [dict(entry) for entry in self._entered]
