"""Warnings on the way into a stage. They tell and never block: the technician sees more than the sensors do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from logger.measure.ticks import Signal
from logger.session.cautions import forbids_refill

UNHELD = "charge-without-hold"
UNREPAIRED = "refill-before-repair"
CHARGING, AFTER = "charging", "performance"

_UNHELD_WORDS = (
    "No vacuum hold was passed before this charge ({how}): a leak or water may be inside. Close the container valve "
    "and hold the vacuum first, unless you have tested it otherwise."
)
_UNREPAIRED_WORDS = "{found} and no repair is noted. {law} Note the repair or stop."
_LAW_WORDS = "A system that lost refrigerant may not be refilled before it is repaired where {place} law applies."


@dataclass(frozen=True, slots=True)
class RefillLaw:
    """Whether a leak may be refilled before its repair: the place whose law we know, and the shop's own words."""

    jurisdiction: str = ""
    words: str = ""

    def says(self) -> str:
        """What stands against it, "" where nothing is known to."""
        place = forbids_refill(self.jurisdiction)
        return self.words or (_LAW_WORDS.format(place=place) if place else "")


def gates(stage: str, holds: Sequence[Mapping], evacuated: bool, job: Mapping, law: RefillLaw) -> list[Signal]:
    """The gates of going over to `stage`, each as a signal that starts or ends.

    holds: the session's vacuum holds so far, as in the findings. evacuated: a vacuum was seen (without one, the
    judgement of the pressures warns already). job: what the job notes, a leak found and a repair done among it.
    """
    if stage == AFTER:
        return []  # what was said on the way into the charge still holds for it
    last = holds[-1]["verdict"] if holds else None
    unheld = stage == CHARGING and evacuated and last != "tight"
    how = "none was seen" if last is None else f"the last one was {last}"
    found = "The hold before this charge showed a leak" if last == "leak" else "A leak was found"
    leaked = last == "leak" or job.get("leak_verdict") == "found"
    leaking = stage == CHARGING and leaked and not job.get("repair_done") and bool(law.says())
    return [
        Signal(UNHELD, "notice", unheld, _UNHELD_WORDS.format(how=how)),
        Signal(UNREPAIRED, "caution", leaking, _UNREPAIRED_WORDS.format(found=found, law=law.says())),
    ]
