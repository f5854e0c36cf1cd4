"""When to say stop: the mass that will be delivered once the valve is closed reaches the target.

Said once for a target. What is said early is the time the technician's hand, or the valve, needs; what lies between the
last frame and now is added from the flow; and since the next chance to speak is a frame away, half a frame's flow is
given ahead, so that the mean error is nil whatever the flow.
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.measure.ticks import Signal

FLOWS_G_PER_S = 0.15
APPROACH_S = 12.0
APPROACH_SHARE = 0.03
APPROACH_LEAST_G = 15.0
OVER_G = 5.0
SEES_CLOSED_S = 1.5
"""So long after a valve has been closed the flow may still seem to go on."""


@dataclass(frozen=True, slots=True)
class StopSetup:
    """Masses in g; lag_s from the alert to a closed valve."""

    target_g: float | None
    placard_high_g: float | None
    lag_s: float


@dataclass(frozen=True, slots=True)
class FillView:
    """The fill as it stands at `now_s`, known from a frame of `t_s`: delivered in g, flow in g/s, frame_s apart."""

    now_s: float
    t_s: float
    delivered_g: float
    flow_g_per_s: float
    flowing: bool
    frame_s: float = 0.1


class StopDecision:
    """Approach, stop, over: each raised once for the target and cleared by itself when the flow has ended."""

    def __init__(self, setup: StopSetup):
        self.setup = setup
        self.stop_t_s: float | None = None
        self.approach_t_s: float | None = None
        self.seconds_to_stop: float | None = None
        self._standing: dict[str, Signal] = {}

    def update(self, view: FillView) -> list[Signal]:
        """Called for every frame of a container that stands; returns what starts and what ends."""
        target = self.setup.target_g
        if target is None:
            return []
        remaining = target - view.delivered_g
        self._time(remaining, view)
        said = []
        if view.flow_g_per_s > FLOWS_G_PER_S:
            said += self._ahead(view, target, remaining)
        said += self._over(view, target)
        if not view.flowing and view.flow_g_per_s <= FLOWS_G_PER_S:
            said += self.fall_silent()
        return said

    def fall_silent(self) -> list[Signal]:
        """The flow has ended: approach, stop and over-target have nothing more to say."""
        if not self._standing:
            return []
        codes = ("approaching-target", "stop-charging", "over-target")
        return [self._end(code) for code in codes if code in self._standing]

    def _time(self, remaining_g: float, view: FillView) -> None:
        flows = view.flow_g_per_s > FLOWS_G_PER_S and self.stop_t_s is None
        late = view.now_s - view.t_s
        self.seconds_to_stop = (
            max(remaining_g / view.flow_g_per_s - self.setup.lag_s - late, 0.0) if flows and remaining_g > 0 else None
        )

    def _ahead(self, view: FillView, target_g: float, remaining_g: float) -> list[Signal]:
        said = []
        flow, lead_s = view.flow_g_per_s, self.setup.lag_s + view.now_s - view.t_s
        near = remaining_g <= max(flow * (APPROACH_S + lead_s), APPROACH_LEAST_G, APPROACH_SHARE * target_g)
        if near and self.approach_t_s is None and remaining_g > 0:
            self.approach_t_s = view.now_s
            said.append(self._start("approaching-target", "notice", f"{remaining_g:.0f} g to go: throttle the valve"))
        if self.stop_t_s is None and view.delivered_g + flow * (lead_s + view.frame_s / 2.0) >= target_g:
            self.stop_t_s = view.now_s
            said.append(self._start("stop-charging", "notice", f"Close the container's valve now: {target_g:.0f} g"))
        return said

    def _over(self, view: FillView, target_g: float) -> list[Signal]:
        said = []
        high = self.setup.placard_high_g
        over = view.delivered_g - target_g
        margin = OVER_G if high is None else min(OVER_G, max((high - target_g) / 2.0, 1.0))
        seen_late_g = SEES_CLOSED_S * max(view.flow_g_per_s, 0.0)
        if over > margin + seen_late_g and "over-target" not in self._standing and view.flowing:
            said.append(self._start("over-target", "caution", f"{over:.0f} g over target: close the container's valve"))
        if high is not None and view.delivered_g > high + seen_late_g and "over-placard" not in self._standing:
            message = f"{view.delivered_g - high:.0f} g above the placard: close the valve, then recover the excess"
            said.append(self._start("over-placard", "caution", message))
        if high is not None and view.delivered_g < high - margin and "over-placard" in self._standing:
            said.append(self._end("over-placard"))
        return said

    def _start(self, code: str, severity: str, message: str) -> Signal:
        self._standing[code] = Signal(code, severity, True, message)
        return self._standing[code]

    def _end(self, code: str) -> Signal:
        started = self._standing.pop(code)
        return Signal(code, started.severity, False, started.message)
