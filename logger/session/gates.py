"""Warnings on the way into a stage. They tell and never block: the technician sees more than the sensors do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from logger.measure.ticks import Signal
from logger.session.cautions import forbids_refill

UNHELD = "charge-without-hold"
UNREPAIRED = "refill-before-repair"
CHARGING, AFTER = "charging", "performance"

_UNHELD_WORDS = (
    "No vacuum hold was passed before this charge ({how}): a leak or water may be inside. Close the container valve "
    "and hold the vacuum first, unless you have tested it otherwise."
)
_UNREPAIRED_WORDS = (
    "The hold before this charge showed a leak and no repair is noted. A system that lost refrigerant may not be "
    "refilled before it is repaired where {place} law applies; note the repair or stop."
)


def gates(stage: str, holds: Sequence[Mapping], evacuated: bool, repaired: bool, jurisdiction: str) -> list[Signal]:
    """The gates of going over to `stage`, each as a signal that starts or ends.

    holds: the session's vacuum holds so far, as in the findings. evacuated: a vacuum was seen (without one, the
    judgement of the pressures warns already). repaired: the job notes a repair.
    """
    if stage == AFTER:
        return []  # what was said on the way into the charge still holds for it
    last = holds[-1]["verdict"] if holds else None
    unheld = stage == CHARGING and evacuated and last != "tight"
    how = "none was seen" if last is None else f"the last one was {last}"
    leaking = stage == CHARGING and last == "leak" and not repaired and forbids_refill(jurisdiction)
    place = forbids_refill(jurisdiction) or "local"
    return [
        Signal(UNHELD, "notice", unheld, _UNHELD_WORDS.format(how=how)),
        Signal(UNREPAIRED, "caution", leaking, _UNREPAIRED_WORDS.format(place=place)),
    ]
