"""What stands on the platform: empty, a container coming to rest, or a container at rest or flowing.

Found from the signal itself. Near its empty level the platform is empty; a load that stays beyond `LOAD_LEAST_G` is a
container. While one stands there a `MassTracker` follows it; flow begun and ended are told from its flow and from the
plateaus on both sides. A container put back as it left goes on with the stay it had.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt

from logger.measure.hose_pull import Pull
from logger.measure.hose_watch import HoseWatch
from logger.measure.mass_tracker import NO_HAND_MOST_G, Happening, MassTracker
from logger.measure.plateau import Plateau, PlateauWindow
from logger.measure.scale_frames import Frame

LOAD_LEAST_G = 90.0
"""Lighter than the lightest empty container there is; a hand on the bare platform is none."""
EMPTY_WITHIN_G = 25.0
"""Nearer to the empty level than this, or than a quarter of the container, nothing stands there."""
LIFTED_FRAMES = 3
LANDED_FRAMES = 6
LANDED_SPREAD_G, LANDED_SIGMA = 12.0, 4.5
"""What lies so still has landed; where the empty platform itself scatters more, within so many of its deviations."""
SHAKY_G2 = 8.0
"""Scatter of the empty platform that is no idle load cell's."""
OUTWEIGHS_LEAST_G = 150.0
"""A load this much heavier than what stood there, and than all of it again, is a container put down."""
HANDLED_S = 4.0
"""So long the hand that placed a container may rest on it."""
HAND_LEAST_G, HAND_MOST_G, HAND_BACK_WITHIN_S = 12.0, 80.0, 30.0
"""A container put back soon may weigh so much more or less than it should for the hand that still holds it."""
UNSEEN_SHARE = 0.1
PUT_BACK_WITHIN_S = 60.0
PUT_BACK_HEAVIER_G = 4.0
PUT_BACK_FLOW_SHARE = 1.5
"""How much faster than before it may have flowed while the container was held in the hand."""
FLOW_BEGINS_G_PER_S, FLOW_ENDS_G_PER_S = 0.25, 0.12
FLOW_BEGINS_SIGMA = 4.0
LOST_BEGINS_G = 2.5
REST_S = 2.0
REST_READINGS = 5
AFTER_FLOW_S = 1.0
BEFORE_FLOW_S = 1.0
TRICKLE_G_PER_S, TRICKLE_S, TRICKLE_LEAVES_S = 0.5, 3.0, 0.3
"""A container lifted while less than this flows: its last seconds tell what it weighed better than the trend."""


@dataclass(slots=True)
class Episode:
    """Flow from one rest to the next. after is None while it goes on."""

    begun_s: float
    before: Plateau
    ended_s: float | None = None
    after: Plateau | None = None
    vented: bool = False


@dataclass(frozen=True, slots=True)
class Away:
    """A container lifted with its valve open: since when, and its flow then, which goes on unseen."""

    t_s: float
    flow_g_per_s: float


@dataclass(slots=True)
class Stay:
    """One container from when it was placed to when it was lifted. Masses in g.

    shift_g: what its readings shifted by, all in all, without anything having flowed (a hand taken for part of it).
    mistaken: it was no container.
    """

    on_t_s: float
    on: Plateau | None = None
    off_t_s: float | None = None
    off: Plateau | None = None
    episodes: list[Episode] = field(default_factory=list)
    shift_g: float = 0.0
    mistaken: bool = False

    def gross_off_g(self, now_g: float) -> float:
        return now_g if self.off is None else self.off.gross_g


class Platform:
    """Feed it frames in order. `stay` is the container that stands there, None while the platform is empty."""

    def __init__(self) -> None:
        self.zero_g = 0.0
        self.zero = PlateauWindow()
        self.stays: list[Stay] = []
        self.stay: Stay | None = None
        self.tracker: MassTracker | None = None
        self.flowing = False
        self.rest = PlateauWindow()
        self._after_flow: PlateauWindow | None = None
        self._still_since: float | None = None
        self._low = 0
        self._landing: list[Frame] = []
        self._left_noise_g2: float | None = None
        self._hand_g = 0.0
        self.away: Away | None = None
        self._left_at: Plateau | None = None
        self._landed_s = 0.0
        self._hose = HoseWatch()

    @property
    def pull(self) -> Pull:
        """What the hose adds to the readings while a valve is open."""
        return self._hose.pull

    @property
    def trend_g(self) -> float | None:
        """The container's newest mass, without the hose's pull, without waiting for a plateau."""
        if self.tracker is None:
            return None
        return self.tracker.trend.m - (self.pull.pull_g if self.flowing else 0.0)

    @property
    def gross_g(self) -> float | None:
        """The container's gross mass as it is now: a plateau's mean at rest, else the trend."""
        if self.tracker is None:
            return None
        window = self._resting()
        return self.trend_g if window is None else window.mean_g()

    def plateau_now(self) -> Plateau | None:
        """The plateau the container stands on, None while it flows or is touched."""
        window = self._resting()
        return None if window is None else window.plateau()

    def _resting(self) -> PlateauWindow | None:
        if self.flowing or self.tracker is None or self.tracker.disturbed:
            return None
        window = self._after_flow if self._after_flow is not None and len(self._after_flow) >= 10 else self.rest
        return window if len(window) >= REST_READINGS else None

    def step(self, frame: Frame) -> list[Happening]:
        """Take in one frame; returns what happened, oldest first."""
        if self.tracker is None:
            return self._unloaded(frame)
        if self._is_empty(frame):
            self._low += 1
            return self._lift(frame) if self._low >= LIFTED_FRAMES else []
        self._low = 0
        if self._outweighed(frame):
            return self._land_anew()
        happened = self.tracker.step(frame.t_s, frame.gross_g)
        if happened and frame.t_s - self._landed_s < HANDLED_S:
            happened = self._still_handled(frame.t_s, happened)
        touched = bool(self.tracker.hand_g)
        if happened:
            self._rebase(happened)
            touched = touched or any(h.kind != "flow_changed" for h in happened)
        happened += self._hose.follow(frame.t_s, frame.gross_g, self.tracker, self.flowing, touched)
        return happened + self._follow(frame)

    def _is_empty(self, frame: Frame) -> bool:
        """Nothing is left there, or only the hand that rested there before."""
        above, hand_g = frame.gross_g - self.zero_g, self.tracker.hand_g
        most = min(EMPTY_WITHIN_G, (self.tracker.trend.m - self.zero_g) / 4.0)
        return above < most or (hand_g > 0.0 and abs(above - hand_g) < most)

    def _still_handled(self, t_s: float, happened: list[Happening]) -> list[Happening]:
        """Soon after it was placed a step is the hand that placed it: what it leaves is the container's mass."""
        if not any(h.kind in ("hand_came", "pulled") for h in happened) or self.stay.episodes:
            return happened
        self.tracker.take_as_mass(t_s)
        return [Happening("handled", h.t_s, h.size_g) for h in happened]

    def _rebase(self, happened: list[Happening]) -> None:
        """A step of tens of grams that stayed is no flow: what was drawn does not change by it. A few grams that
        stayed are likelier a puff, or a hand whose coming or leaving was misread, than a thing so light left there."""
        for h in happened:
            if h.kind in ("stayed", "handled", "undone"):
                self.rest.clear()
                self._after_flow = None
                if abs(h.size_g) > NO_HAND_MOST_G:
                    self.stay.shift_g += h.size_g

    def _new_stay(self, t_s: float, gross_g: float) -> Happening:
        self.stay = Stay(t_s)
        self._left_at = None
        self.stays.append(self.stay)
        self.flowing, self._still_since, self._after_flow = False, None, None
        self.rest.clear()
        return Happening("placed", t_s, gross_g - self.zero_g)

    def _outweighed(self, frame: Frame) -> bool:
        """Whether what came now is the container, and what stood there was a hand or a tool."""
        was_g = self.tracker.trend.m - self.zero_g
        if frame.gross_g - self.tracker.trend.m < max(OUTWEIGHS_LEAST_G, was_g):
            self._landing.clear()
            return False
        return self._has_landed(frame)

    def _land_anew(self) -> list[Happening]:
        if not self.stay.episodes:
            self.stay.mistaken = True
            self.stays.pop()
        else:
            self.stay.off_t_s = self._landing[0].t_s
            self.stay.off = self._last_plateau(self.stay.off_t_s)
        return self._land()

    def _has_landed(self, frame: Frame) -> bool:
        """Whether the last few frames lie still."""
        self._landing = [*self._landing[1 - LANDED_FRAMES :], frame]
        masses = [f.gross_g for f in self._landing]
        if len(masses) < LANDED_FRAMES:
            return False
        spread_g = max(masses) - min(masses)
        return spread_g <= LANDED_SPREAD_G or spread_g <= LANDED_SIGMA * sqrt(self.zero.scatter_g2())

    def _unloaded(self, frame: Frame) -> list[Happening]:
        above = frame.gross_g - self.zero_g
        if above - self._hand_g < LOAD_LEAST_G:
            self._landing.clear()
            if abs(above) < EMPTY_WITHIN_G or not len(self.zero):
                self._hand_g = 0.0
                self.zero.add(frame.t_s, frame.gross_g)
                if len(self.zero) >= 10:
                    self.zero_g = self.zero.mean_g()
            return []
        return self._land() if self._has_landed(frame) else []

    def _land(self) -> list[Happening]:
        first, last = self._landing[0], self._landing[-1]
        gross_g = sum(f.gross_g for f in self._landing) / len(self._landing)
        self.tracker = MassTracker(last.t_s, gross_g, **self._noise())
        self._hose.forget()
        self._landing = []
        self._landed_s = first.t_s
        expected = self._expected_back(first.t_s, gross_g)
        if expected is None:
            placed = self._new_stay(first.t_s, gross_g)
        else:
            placed = self._put_back(first.t_s, gross_g, expected)
        self.away = None
        return [placed]

    def _noise(self) -> dict[str, float]:
        """What is known of a reading's noise and of the landed mass by it."""
        noise_g2 = self.zero.scatter_g2() if self._left_noise_g2 is None else self._left_noise_g2
        if noise_g2 > SHAKY_G2:
            return {"noise_g2": noise_g2, "variance_g2": noise_g2 / LANDED_FRAMES}
        return {} if self._left_noise_g2 is None else {"noise_g2": noise_g2}

    def _expected_back(self, t_s: float, gross_g: float) -> float | None:
        """What the container that was lifted would weigh by now, None where what landed cannot be that one.

        It is no heavier than it left and lighter by no more than could flow meanwhile; or it still carries, or hangs
        in, the hand that put it back.
        """
        gone = self.stays[-1] if self.stays else None
        if gone is None or gone.off is None or t_s - gone.off_t_s > PUT_BACK_WITHIN_S:
            return None
        away_s = t_s - gone.off_t_s
        flowed_g = (self.away.flow_g_per_s if self.away else 0.0) * away_s
        lost_g = gone.off.gross_g - gross_g
        if -PUT_BACK_HEAVIER_G <= lost_g <= HAND_LEAST_G + PUT_BACK_FLOW_SHARE * flowed_g:
            return gross_g
        in_hand = HAND_LEAST_G < abs(lost_g - flowed_g) <= HAND_MOST_G and away_s <= HAND_BACK_WITHIN_S
        return gone.off.gross_g - flowed_g if in_hand else None

    def _put_back(self, t_s: float, gross_g: float, expected_g: float) -> Happening:
        self.stay = self.stays[-1]
        lost_g = self.stay.off.gross_g - gross_g
        if self.away:
            self.tracker.pours(self.away.flow_g_per_s)
        if gross_g != expected_g:
            self.tracker.rests_on_it(expected_g, gross_g - expected_g, (UNSEEN_SHARE * lost_g) ** 2 + 4.0)
        self._left_at = self.stay.off
        self.stay.off_t_s = self.stay.off = None
        self.flowing, self._still_since, self._after_flow = False, None, None
        self.rest.clear()
        return Happening("put_back", t_s, -lost_g)

    def _lift(self, frame: Frame) -> list[Happening]:
        stay, tracker = self.stay, self.tracker
        t_s = tracker.suspicion.onset_s if tracker.suspicion else frame.t_s
        stay.off_t_s = t_s
        stay.off = self._last_plateau(t_s)
        flow = (tracker.suspicion.before if tracker.suspicion else tracker.trend).f
        self.away = Away(t_s, flow) if self.flowing and flow > 0.0 else None
        happened = self._end_flow(t_s, stay.off) if self.flowing else []
        self._left_noise_g2, self._hand_g = tracker.noise_g2, max(tracker.hand_g, 0.0)
        self.stay = self.tracker = None
        self._low = 0
        return [*happened, Happening("lifted", t_s, stay.off.gross_g)]

    def _last_plateau(self, t_s: float) -> Plateau:
        """What the container weighed when it was lifted."""
        tracker = self.tracker
        if not self.flowing:
            after = self._after_flow
            window = after if after is not None and len(after) >= REST_READINGS else self.rest
            plateau = window.plateau_until(t_s)
            if plateau is not None and plateau.readings >= 3:
                return plateau
        trend = tracker.suspicion.before if tracker.suspicion else tracker.trend
        if abs(trend.f) < TRICKLE_G_PER_S:
            last = PlateauWindow()
            for row in self._hose.recent:
                if t_s - TRICKLE_S <= row[0] < t_s - TRICKLE_LEAVES_S:
                    last.add(*row)
            if len(last) >= 10:
                return last.plateau()
        return Plateau(t_s, t_s, trend.m - self.pull.pull_g, max(tracker.mass_sigma, self.pull.u_g), 0)

    def _follow(self, frame: Frame) -> list[Happening]:
        """Rest or flow, from the tracker."""
        tracker = self.tracker
        if not tracker.believed:
            return []
        if self.flowing:
            return self._watch_end(frame)
        if self._flow_has_begun():
            return self._begin_flow(frame.t_s)
        if tracker.disturbed:
            return []
        self.rest.add(frame.t_s, frame.gross_g)
        if self._after_flow is not None and frame.t_s > self.stay.episodes[-1].ended_s + AFTER_FLOW_S:
            self._after_flow.add(frame.t_s, frame.gross_g)
        return []

    def _flow_has_begun(self) -> bool:
        tracker, rested = self.tracker, len(self.rest) >= REST_READINGS
        if not rested and self._left_at is None:
            return False
        if abs(tracker.trend.f) > max(FLOW_BEGINS_G_PER_S, FLOW_BEGINS_SIGMA * tracker.flow_sigma):
            return True
        before_g = self.rest.mean_g() if rested else self._left_at.gross_g
        return abs(before_g - tracker.trend.m) > LOST_BEGINS_G + 3.0 * tracker.mass_sigma

    def _begin_flow(self, t_s: float) -> list[Happening]:
        """The rest before it ends where the line of the flow, drawn backwards, meets the plateau."""
        before = self.rest.plateau() if len(self.rest) >= REST_READINGS else self._left_at
        trend = self.tracker.trend
        ago = abs(before.gross_g - trend.m) / max(abs(trend.f), FLOW_BEGINS_G_PER_S)
        onset = t_s - min(ago, 10.0) - BEFORE_FLOW_S
        earlier = self._after_flow if self._after_flow is not None and len(self._after_flow) >= 10 else self.rest
        plateau = earlier.plateau_until(onset) or before
        if self.stay.on is None:
            self.stay.on = plateau
        self.flowing, self._still_since = True, None
        self.stay.episodes.append(Episode(onset + BEFORE_FLOW_S, plateau))
        self.rest.clear()
        self._hose.valve_opened(t_s)
        return [Happening("flow_begun", onset + BEFORE_FLOW_S, trend.f)]

    def _watch_end(self, frame: Frame) -> list[Happening]:
        tracker = self.tracker
        if abs(tracker.trend.f) > FLOW_ENDS_G_PER_S + 1.5 * tracker.flow_sigma:
            self._still_since = None
            self.rest.clear()
            return []
        if self._still_since is None:
            self._still_since = frame.t_s
        if not tracker.disturbed:
            self.rest.add(frame.t_s, frame.gross_g)
        if frame.t_s - self._still_since < REST_S:
            return []
        return self._end_flow(self._still_since, None)

    def _end_flow(self, t_s: float, after: Plateau | None) -> list[Happening]:
        episode = self.stay.episodes[-1]
        episode.ended_s, episode.after = t_s, after
        self.flowing = False
        self._after_flow = PlateauWindow(oldest=True)
        drawn_g, open_s = episode.before.gross_g - self.tracker.trend.m, t_s - episode.begun_s
        if drawn_g > 0.0:
            self._hose.valve_closed(t_s, open_s, drawn_g / max(open_s, 1.0))
        return [Happening("flow_ended", t_s, episode.before.gross_g - self.tracker.trend.m)]
