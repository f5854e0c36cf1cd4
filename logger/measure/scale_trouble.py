"""What is wrong with the scale while it reads on: touched, shaken, or no longer reading as before.

One alert: a graver one takes the place of a lighter one, which does not come back while anything is wrong. A gain lost
in mid-fill (a broken wire of the bridge, a cell against its stop) and a container held up look alike: a leap at once,
to no empty platform, that stays. Neither leaves a weight that a stop could go by.
"""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

from logger.measure.mass_tracker import MassTracker
from logger.measure.ticks import Severity, Signal

TOUCHED_S = 2.0
SHAKES_G2, CALM_G2 = 64.0, 36.0
"""A scatter that no engine and no sound load cell makes; it has ended only well below."""
HELD_G, LOADED_G = 150.0, 500.0
"""More than a resting hand or a hose pulls, and than a tool weighs, by far (common practice, no source)."""
LEAPT_S = 2.0
TOUCHED = "Something touches the container or the platform: take it off; the charge is carried on from the flow"
SHAKES = (
    "The scale's readings scatter by {sd_g:.0f} g: look for what shakes it and for a loose cable; until then the stop "
    "may be some grams off"
)
LEAPT = (
    "Close the container's valve now: the scale reads {leap_g:+.0f} g at once, which no hand and no flow does. Let the "
    "container stand free. If it reads so still, the scale is wrong: weigh a known mass before going on"
)


class ScaleTrouble:
    """Fed every frame through `update`."""

    def __init__(self) -> None:
        self._said: Signal | None = None

    def update(self, t_s: float, tracker: MassTracker | None, flowing: bool) -> list[Signal]:
        """tracker: of the container that stands there. What ends, then what starts."""
        said = self._said
        if said is None and (tracker is None or (tracker.disturbed_since is None and tracker.noise_g2 <= SHAKES_G2)):
            return []  # every frame comes by here
        gravity = self._gravity(t_s, tracker, flowing)
        if said is not None and gravity and (gravity == said.severity or said.severity == "danger"):
            return []
        signals = [] if said is None else [replace(said, active=False)]
        self._said = self._signal(t_s, gravity, tracker) if gravity else None
        return signals if self._said is None else [*signals, self._said]

    def _gravity(self, t_s: float, tracker: MassTracker | None, flowing: bool) -> Severity | None:
        if tracker is None:
            return None
        if flowing and _has_leapt(t_s, tracker):
            return "danger"
        shaken = tracker.noise_g2 > (SHAKES_G2 if self._said is None else CALM_G2)
        return "notice" if shaken or _is_touched(t_s, tracker) else None

    def _signal(self, t_s: float, gravity: Severity, tracker: MassTracker) -> Signal:
        if gravity == "danger":
            return Signal("scale-disturbed", "danger", True, LEAPT.format(leap_g=tracker.hand_g))
        words = TOUCHED if _is_touched(t_s, tracker) else SHAKES.format(sd_g=sqrt(tracker.noise_g2))
        return Signal("scale-disturbed", "notice", True, words)


def _is_touched(t_s: float, tracker: MassTracker) -> bool:
    return tracker.disturbed_since is not None and t_s - tracker.disturbed_since > TOUCHED_S


def _has_leapt(t_s: float, tracker: MassTracker) -> bool:
    heavy = tracker.hand_g < -HELD_G or tracker.hand_g > LOADED_G
    return heavy and tracker.disturbed_since is not None and t_s - tracker.disturbed_since > LEAPT_S
