"""Which container stood on the platform when: every booked stay with the label that was told for it.

A stay without a label is said to be without one; none is guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from logger.measure.marks import Mark

NEAR_S = 120.0
"""A label told no farther than this from a placing belongs to it; beyond it, to what stands there meanwhile."""
GAINED_LEAST_G = 10.0
"""A container that gained more was recovered into, whatever stage the session was in."""


@dataclass(frozen=True, slots=True)
class ContainerStay:
    """One container's time on the platform, masses in g: drawn_g left it, recovered_g went into it.

    off_t_s is None for one that stands there still.
    """

    label: str | None
    on_t_s: float
    off_t_s: float | None
    gross_on_g: float
    gross_off_g: float
    drawn_g: float
    recovered_g: float


def container_stays(findings: Mapping, marks: Iterable[Mark]) -> list[ContainerStay]:
    """Those that gave or took anything, by a session's findings, each with the label told nearest its placing.

    Every label goes to one placing, also to one that is not booked: it is never handed on to another container.
    """
    parts = list((findings.get("charge") or {}).get("containers") or [])
    spans = _spans(parts, findings.get("scale_events") or [])
    labels: dict[float, tuple[float, str]] = {}
    for mark in marks:
        label = str(mark.detail.get("label") or "").strip()
        if mark.mark == "container_on" and label and spans:
            on_s = _belongs_to(mark.t_s, spans)
            labels[on_s] = min(labels.get(on_s, (float("inf"), "")), (abs(mark.t_s - on_s), label))
    return [_stay(on_s, [p for p in parts if p["on_t_s"] == on_s], labels.get(on_s)) for on_s in _booked(parts)]


def _booked(parts: Sequence[Mapping]) -> list[float]:
    return sorted({part["on_t_s"] for part in parts})


def _spans(parts: Sequence[Mapping], events: Sequence[Mapping]) -> list[tuple[float, float]]:
    """(placed, lifted) of every container, booked or not; a hand taken for one gives way to what came after it."""
    ends = {part["on_t_s"]: float("inf") if part["off_t_s"] is None else part["off_t_s"] for part in parts}
    turns = [event for event in events if event["event"] in ("placed", "lifted")]
    for event, following in zip_longest(turns, turns[1:]):
        if event["event"] == "placed" and event["t_s"] not in ends:
            if following is None:
                ends[event["t_s"]] = float("inf")
            elif following["event"] == "lifted":
                ends[event["t_s"]] = following["t_s"]
    return sorted(ends.items())


def _belongs_to(told_s: float, spans: Sequence[tuple[float, float]]) -> float:
    """When the container was placed of which a label told at `told_s` speaks."""
    nearest = min((on_s for on_s, _ in spans), key=lambda on_s: abs(told_s - on_s))
    if abs(told_s - nearest) <= NEAR_S:
        return nearest
    return next((on_s for on_s, off_s in spans if on_s <= told_s <= off_s), nearest)


def _stay(on_s: float, parts: Sequence[Mapping], told: tuple[float, str] | None) -> ContainerStay:
    gained = [part for part in parts if part.get("purpose") == "recovery" or part["drawn_g"] <= -GAINED_LEAST_G]
    given = [part for part in parts if part not in gained]
    return ContainerStay(
        label=told[1] if told else None,
        on_t_s=on_s,
        off_t_s=parts[-1]["off_t_s"],
        gross_on_g=parts[0]["gross_on_g"],
        gross_off_g=parts[-1]["gross_off_g"],
        drawn_g=sum(part["drawn_g"] for part in given),
        recovered_g=-sum(part["drawn_g"] for part in gained),
    )
