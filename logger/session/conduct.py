"""How the session is conducted: its stage, the gates on the way into one, and what the job needs noted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from firmware_bridge.stage_names import REFILL_REMINDER
from logger.measure.marks import Mark
from logger.measure.ticks import Signal, Tick
from logger.session.cautions import shop_words
from logger.session.events import Event
from logger.session.gates import RefillLaw, gates
from logger.session.job import check_job, job_of_vehicle, merge_job
from logger.session.scale_due import told_check
from logger.session.setup import SessionSetup
from logger.session.stage_signs import StageSigns
from logger.session.stages import StageKeeper


class Conduct:
    """holds: gives the vacuum holds so far, as in the findings; evacuated: whether a vacuum was seen."""

    def __init__(
        self, setup: SessionSetup | None, holds: Callable[[], Sequence[Mapping]], evacuated: Callable[[], bool]
    ):
        self.stages = StageKeeper()
        self._signs = StageSigns(setup.target_g if setup else None, setup.altitude_m if setup else None)
        self._open = setup is not None
        self._holds, self._evacuated = holds, evacuated
        raw = setup.raw if setup else {}
        self.jurisdiction = str(raw.get("jurisdiction") or "")
        self._refill_words = shop_words(raw, REFILL_REMINDER)
        self._scale_check = told_check(raw.get("scale_check"))
        self.job: dict = job_of_vehicle(setup.vehicle) if setup else {}
        self.job_problems: list[str] = []
        if "job" in raw:
            self._note(raw["job"])

    def told(self, mark: Mark) -> tuple[list[Event], list[Signal]]:
        """Take in a `stage` or `note` mark; what happened, and the gates' signals."""
        if mark.mark == "note":
            if "job" in mark.detail:
                self._note(mark.detail["job"])
            return [], []
        stage, why = str(mark.detail.get("stage", "")), str(mark.detail.get("why") or "")
        if mark.detail.get("skipped"):
            self.stages.skip(mark.t_s, stage, why)
            return [], []
        return self._enter(mark.t_s, stage, "mark", why or "told")

    def seen(self, tick: Tick, holding: bool) -> tuple[list[Event], list[Signal]]:
        """Take in one second; what happened, and the gates' signals. Between sessions nothing happens."""
        if not self._open:
            return [], []
        sign = self._signs.update(tick, holding)
        stage = self.stages.suggest(tick.t_s, sign)
        return self._enter(tick.t_s, stage, "signals", sign.why) if stage else ([], [])

    def live(self) -> dict | None:
        """The stage the readings speak for without being certain, to be offered to the technician."""
        sign = self.stages.suggestion
        return {"stage": sign.stage, "why": sign.why} if sign else None

    def findings(self) -> dict:
        """What the session's findings take from its conduct."""
        return {
            "stages": self.stages.to_json(),
            "stages_skipped": self.stages.skipped_json(),
            "job": self.job,
            "job_problems": self.job_problems,
            "jurisdiction": self.jurisdiction or None,
            "scale_check": self._scale_check,
        }

    def _enter(self, t_s: float, stage: str, by: str, why: str) -> tuple[list[Event], list[Signal]]:
        events = self.stages.enter(t_s, stage, by, why)
        if not events:
            return [], []
        holds = self._holds() if stage == "charging" else []
        law = RefillLaw(self.jurisdiction, self._refill_words)
        return events, gates(stage, holds, self._evacuated(), self.job, law)

    def _note(self, told: object) -> None:
        kept, problems = check_job(told)
        self.job = merge_job(self.job, kept)
        self.job_problems += problems
