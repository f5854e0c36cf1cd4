"""Which stage the session is in, since when, and by whose word.

The readings move it when they are certain; what the technician tells goes before them. Stages come in any order,
repeat, and are skipped with or without a reason given.
"""

from __future__ import annotations

from collections.abc import Mapping

from logger.measure.marks import STAGES
from logger.session.events import Event
from logger.session.stage_signs import Sign

FIRST_STAGE = "identification"
BEFORE_CHARGING = ("evacuation", "vacuum_hold")
TOLD_COUNTS_S = 30.0
"""So long the readings do not speak against what the technician has just told."""

LEFT_TO_JUDGE = ("vacuum_hold", "performance")
"""Stages that the judgements of the readings find by themselves, and better without our word for it."""


class StageKeeper:
    """The stages a session went through, in the order it went."""

    def __init__(self) -> None:
        self.stage = FIRST_STAGE
        self.hint = FIRST_STAGE
        """The stage as judgements may lean on it: told, or seen beyond doubt."""
        self.suggestion: Sign | None = None
        """What the readings speak for instead of the present stage, without being certain."""
        self._entered: list[dict] = []
        self._skipped: list[dict] = []
        self._told_t_s: float | None = None
        self._overruled: str | None = None
        self._sign: str | None = None

    def enter(self, t_s: float, stage: str, by: str, why: str) -> list[Event]:
        """Go over to `stage`; entering the present one, or one that is none, changes nothing."""
        if stage not in STAGES:
            return []
        if by == "mark":
            self._told_t_s, self._overruled, self.hint = t_s, self._sign, stage
        elif stage not in LEFT_TO_JUDGE:
            self.hint = stage
        if stage == self.stage:
            return []
        self.stage, self.suggestion = stage, None
        entry = {"stage": stage, "t_s": t_s, "by": by, "why": why}
        self._entered.append(entry)
        return [Event("stage", t_s, dict(entry))]

    def skip(self, t_s: float, stage: str, why: str) -> None:
        """Note that the technician leaves `stage` out, and why; the stage does not change."""
        if stage in STAGES:
            self._skipped.append({"stage": stage, "t_s": t_s, "by": "mark", "why": why or "no reason given"})

    def suggest(self, t_s: float, sign: Sign | None) -> str | None:
        """Take in what the readings say at `t_s`; the stage to go over to now, None to stay.

        A sign that stood when the technician told otherwise counts again only after the readings said something else.
        """
        self._sign = sign.stage if sign else None
        if self._sign != self._overruled:
            self._overruled = None
        wanted = sign is not None and sign.stage not in (self.stage, self._overruled) and self.stage != "closed"
        if wanted and sign.certain and not self._told_lately(t_s):
            return sign.stage
        self.suggestion = sign if wanted else None
        return None

    def to_json(self) -> list[dict]:
        return [dict(entry) for entry in self._entered]

    def skipped_json(self) -> list[dict]:
        """Stages told to be left out, and those that should have come before a charge and did not."""
        told = [dict(entry) for entry in self._skipped]
        charge = next((k for k, entry in enumerate(self._entered) if entry["stage"] == "charging"), None)
        if charge is None:
            return told
        before = {entry["stage"] for entry in [*self._entered[:charge], *told]}
        t_s = self._entered[charge]["t_s"]
        unseen = [stage for stage in BEFORE_CHARGING if stage not in before]
        return told + [_unseen(stage, t_s) for stage in unseen]

    def _told_lately(self, t_s: float) -> bool:
        return self._told_t_s is not None and t_s - self._told_t_s < TOLD_COUNTS_S


def _unseen(stage: str, t_s: float) -> Mapping:
    return {"stage": stage, "t_s": t_s, "by": "signals", "why": "neither told nor seen before the charge"}
