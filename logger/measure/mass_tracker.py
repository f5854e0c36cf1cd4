"""The container's mass and flow, quick on a real change and deaf to a bump.

While readings keep to their trend a Kalman filter follows them (`trend_filter`). A reading far off it is not believed:
the trend goes on by itself while `residuals` looks at what the readings do, and the outcome is one of
- a bump: they come back to the trend, and what lay between is forgotten;
- a step: something rests on the platform; its weight is a state of its own and the trend under it goes on;
- a change of flow: the filter starts again from the new line.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from math import sqrt

from logger.measure.residuals import Verdict, is_noise, judge, settled
from logger.measure.suspicion import KEPT_S, Suspicion
from logger.measure.trend_filter import Trend
from logger.measure.whiteness import KICK_FRAMES, SCATTER_ALPHA, Whiteness, roughness

GATE = 4.5
"""A reading within so many standard deviations of the trend is believed."""
GATE_WIDENS_G2 = 6.25
"""However unsure the trend is, a reading farther off than this variance and its noise allow is looked at first."""
Q_FLOW = 0.002
"""How fast a steady flow wanders, (g/s)^2/s: vapour chills its container within minutes."""
Q_FLOW_UNSEEN = 0.02
"""The same while nothing is believed."""
FOLLOWS_S4 = 5.0**4
"""A flow that changes is followed within five seconds however noisy the readings: of noise density r and a flow that
wanders with q the filter's time is (r / q)^(1/4)."""
Q_HAND = 0.3
"""How a resting hand wanders, g^2/s."""
R_FIRST, R_LEAST, R_MOST = 2.0, 0.01, 900.0
"""Variance of a reading, g^2: before any is known, and its bounds."""
SUSPECT_CLIP = 4.0
"""So many variances of a suspicious swing count as noise: an engine started must not look like bumps for long."""
ROUGH_FRAMES, ROUGHER = 25, 6.0
"""Readings whose differences tell a scatter that has grown at once, and by how many times its variance must have."""

GAP_S = 2.0
"""Readings missing for longer leave the trend behind."""
BACK_FRAMES = 3
"""So many readings in a row on the trend end a suspicion."""
BUMP_SIGMA = 8.0
"""A reading that strays less far is no bump but evidence about the flow."""
DECIDED, GIVE_UP_MARGIN, DECIDE_AFTER_S = 8.0, 2.0, 1.8
"""Margin of log-likelihood that decides at once, and the one that does after a while."""
SETTLE_S = 0.8
"""Readings that lie still so long are a level."""
UNSURE_STEP_G = 3.0
"""Spread of a level that was found only because the readings settled there."""
GAIN_NEEDS_S = 3.0
"""A gain of mass is believed after so long: hands are commoner than backflow."""
THROTTLED_S = 1.5
"""Under a hand a valve that is closed farther is believed after so long."""
FLOW_MOST_G_PER_S, GAIN_MOST_G_PER_S = 45.0, 15.0
"""More than these no hose of this size lets through (common practice, no source)."""

GONE_G = 2.5
"""What is left of a hand that has gone."""
HAND_GONE_FRAMES, HAND_GONE_SHARE, HAND_HALF = 5, 0.3, 0.6
"""So many readings, each nearer to the trend than this share of the hand (never beyond the second), end it."""
HAND_LEAVES_S = 0.7
"""A hand leaves quicker than this; what takes longer is a flow on its way past the trend."""
FLOW_MARGIN = 1.3
"""How much stronger than any flow seen the flow under a hand may have been."""
UNDOES = 0.35
"""A step this near to undoing an earlier doubt undoes it."""
NO_HAND_MOST_G, NO_HAND_AFTER_S = 30.0, 12.0
"""A few grams that stay longer than a hand rests were drawn, or never there."""
TOOL_LEAST_G, TOOL_AFTER_S = 80.0, 20.0
"""What lies there longer than any hand rests, and is lighter than a tool, is mass after all."""
PUFF_MOST_G, PUFF_FLOW_G_PER_S, PUFF_AFTER_S = 15.0, 0.3, 3.0
"""A valve opened for a moment at rest: a loss that is taken as such soon."""
POURS_SHARE = 0.3
"""How unsure the flow of a container is that was held in the hand with its valve open."""


@dataclass(frozen=True, slots=True)
class Happening:
    """Something seen on the platform: kind, time, size in g, and how sure that is, 0 to 1."""

    kind: str
    t_s: float
    size_g: float
    confidence: float = 0.9


class MassTracker:
    """One container's stay on the platform. Masses in g, flow in g/s, positive out of the container."""

    def __init__(self, t_s: float, gross_g: float, variance_g2: float = 1.0, noise_g2: float = R_FIRST):
        self.trend = Trend(t_s, gross_g, mm=variance_g2, ff=0.01)
        self.noise_g2 = noise_g2
        self.suspicion: Suspicion | None = None
        self._rests: deque[tuple[float, float]] = deque(maxlen=HAND_GONE_FRAMES)
        self._rested_s = t_s
        self._came_g = 0.0
        self._came_s = t_s
        self._flow_peak = 0.0
        self._held = False
        self._doubt, self._taken = (t_s - TOOL_AFTER_S, 0.0), False
        self.disturbed_since: float | None = None
        self._white = Whiteness()
        self._last: deque[float] = deque(maxlen=ROUGH_FRAMES)

    @property
    def disturbed(self) -> bool:
        """Something is on the platform, or the last readings are not believed."""
        return self.disturbed_since is not None

    @property
    def flow_sigma(self) -> float:
        return sqrt(max(self.trend.ff, 0.0))

    @property
    def mass_sigma(self) -> float:
        return sqrt(max(self.trend.mm, 0.0))

    @property
    def believed(self) -> bool:
        """The newest readings are taken in, though something may rest on the platform."""
        return self.suspicion is None

    @property
    def hand_g(self) -> float:
        """Weight of what rests on the platform beside the container."""
        return self.trend.d

    def step(self, t_s: float, y_g: float) -> list[Happening]:
        """Take in one frame, later than the last one; returns what happened."""
        if t_s - self.trend.t_s > GAP_S:
            return self._after_gap(t_s, y_g)
        self._last.append(y_g)
        hand = self.trend.dd > 0.0
        unseen = self.suspicion is not None
        wanders = max(Q_FLOW_UNSEEN if unseen else Q_FLOW, self.noise_g2 * (t_s - self.trend.t_s) / FOLLOWS_S4)
        self.trend.predict(t_s, wanders, Q_HAND if hand else 0.0)
        e, s = self.trend.innovation(y_g, self.noise_g2)
        if hand and self._hand_gone(t_s, y_g):
            return self._let_go(t_s, y_g)
        if hand and self.suspicion is None and self._is_no_hand(t_s):
            return self.take_as_mass(t_s)
        inside = e * e <= GATE * GATE * min(s, self.noise_g2 + GATE_WIDENS_G2)
        if inside and self.suspicion is not None and self._was_single():
            return self._was_bump(t_s, y_g)
        if self.suspicion is None:
            if inside:
                self._believe(t_s, y_g)
                return []
            self.suspicion = Suspicion(t_s, self.trend)
            if self.disturbed_since is None:
                self.disturbed_since = t_s
        self.suspicion.add(t_s, e, inside, BUMP_SIGMA * sqrt(self.noise_g2))
        if e * e < BUMP_SIGMA * BUMP_SIGMA * s:
            self._white.count(t_s, e, s)
        return self._resolve(t_s, y_g)

    def _after_gap(self, t_s: float, y_g: float) -> list[Happening]:
        """Nothing was read for a while (the power went, a cable came off): whatever flowed meanwhile, the container
        weighs what it weighs now, and its flow may be anything between none and what it was."""
        trend = self.trend
        trend.predict(t_s, 0.0)
        trend.put_disturbance(0.0, 0.0, related=False)
        trend.m, trend.mm, trend.mf = y_g, self.noise_g2, 0.0
        trend.ff += trend.f * trend.f + 1.0
        self.suspicion = self.disturbed_since = None
        self._rests.clear()
        self._white.clear()
        return []

    def _believe(self, t_s: float, y_g: float) -> None:
        e, s = self.trend.update(y_g, self.noise_g2)
        square = self._white.scatter(t_s, e, s)
        if square is not None:
            self._learn_noise(square)
        if self.trend.dd == 0.0:
            self._flow_peak = max(self._flow_peak, self.trend.f - 2.0 * self.flow_sigma)
        change, since_s = self._white.kick(KICK_FRAMES if self.trend.dd == 0.0 else KICK_FRAMES[-1:])
        if change:
            self._let_flow_move(change * change, since_s)

    def _learn_noise(self, square_g2: float) -> None:
        noise = self.noise_g2 + SCATTER_ALPHA * (square_g2 - self.noise_g2)
        self.noise_g2 = min(max(noise, R_LEAST), R_MOST)

    def _feel_roughness(self) -> None:
        """A scatter that has grown many times over: nothing could be told by the old one."""
        if len(self._last) == ROUGH_FRAMES and (rough_g2 := roughness(self._last)) > ROUGHER * self.noise_g2:
            self.noise_g2 = min(rough_g2, R_MOST)

    def _let_flow_move(self, variance: float, since_s: float) -> None:
        """A flow that differs by some variance since `since_s` ago has moved the mass along with it."""
        self.trend.ff += variance
        self.trend.mf -= variance * since_s / 2.0
        self.trend.mm += variance * since_s * since_s / 3.0

    def _resolve(self, t_s: float, y_g: float) -> list[Happening]:
        """Decide what the suspicious readings were, if that can be told by now."""
        suspicion = self.suspicion
        if len(suspicion.r) > 1:
            swing = (suspicion.r[-1] - suspicion.r[-2]) ** 2 / 2.0
            self._learn_noise(min(swing, SUSPECT_CLIP * self.noise_g2))
            self._feel_roughness()
        if suspicion.back >= BACK_FRAMES:
            return self._was_bump(t_s, y_g)
        scatter = is_noise(suspicion.t, suspicion.r)
        if scatter is not None:
            return self._was_noise(t_s, y_g, scatter)
        verdict = judge(suspicion.t, suspicion.r, suspicion.onset_s, self.noise_g2, self.trend.f)
        waited = t_s - suspicion.onset_s
        enough = verdict.margin >= (DECIDED if waited < DECIDE_AFTER_S else GIVE_UP_MARGIN)
        if verdict.kind == "flow" and enough and self._is_flow(verdict, waited):
            return self._was_flow(t_s, verdict)
        if verdict.kind == "step" and enough:
            return self._was_step(y_g, verdict)
        level = settled(suspicion.t, suspicion.r, SETTLE_S, sqrt(self.noise_g2))
        if level is not None and waited > DECIDE_AFTER_S + KEPT_S / 2:
            return self._was_step(y_g, Verdict("step", level, UNSURE_STEP_G))
        return []

    def _was_noise(self, t_s: float, y_g: float, scatter_g: float) -> list[Happening]:
        """The engine has been started, say: readings swing wider about the same trend."""
        self.suspicion = None
        self._white.clear()
        self.noise_g2 = min(max(self.noise_g2, scatter_g * scatter_g), R_MOST)
        self.trend.update(y_g, self.noise_g2)
        if self.trend.dd == 0.0:
            self.disturbed_since = None
        return []

    def _is_flow(self, verdict: Verdict, waited_s: float) -> bool:
        """A flow this circuit can have; a gain of mass is believed later than a loss, hands being commoner."""
        flow = self.trend.f - verdict.line.slope
        throttled = 0.0 <= flow <= self.trend.f
        if self.trend.dd > 0.0 and waited_s < (THROTTLED_S if throttled else GAIN_NEEDS_S):
            return False
        if flow < -1.0 and (waited_s < GAIN_NEEDS_S or flow < -GAIN_MOST_G_PER_S):
            return False
        return flow <= FLOW_MOST_G_PER_S

    def _hand_gone(self, t_s: float, y_g: float) -> bool:
        """Whether the last readings lie on the container's own trend again, come there at once and keeping to it."""
        off_g, rests, noise_g = y_g - self.trend.m, self._rests, 2.0 * sqrt(self.noise_g2)
        near = max(GONE_G, HAND_GONE_SHARE * abs(self._came_g)) + noise_g
        near = min(near, HAND_HALF * abs(self._came_g))
        if abs(off_g - self.trend.d) <= near:
            self._rested_s = t_s
        rests.append((t_s, off_g))
        if len(rests) < HAND_GONE_FRAMES or max(abs(g) for _, g in rests) > near:
            return False
        moved_g = (rests[-1][1] + rests[-2][1] - rests[0][1] - rests[1][1]) / 2.0
        return rests[0][0] - self._rested_s < HAND_LEAVES_S and abs(moved_g) <= GONE_G + noise_g

    def _is_no_hand(self, t_s: float) -> bool:
        """A few grams that stay: drawn at once through a valve opened for a moment, or never there. No hand rests so
        long, and few pull so lightly."""
        stayed_s = t_s - self._came_s
        puff = not self._held and -PUFF_MOST_G <= self.trend.d < 0.0 and abs(self.trend.f) < PUFF_FLOW_G_PER_S
        if puff and stayed_s > PUFF_AFTER_S:
            return True
        after_s = NO_HAND_AFTER_S if abs(self.trend.d) <= NO_HAND_MOST_G else TOOL_AFTER_S
        return abs(self.trend.d) <= TOOL_LEAST_G and stayed_s > after_s

    def take_as_mass(self, t_s: float) -> list[Happening]:
        """What rests there is the container's own mass after all."""
        trend = self.trend
        self._doubt, self._taken = (t_s, self._came_g), True
        trend.m += trend.d
        trend.mm += trend.dd + 2.0 * trend.md
        trend.mf += trend.fd
        trend.put_disturbance(0.0, 0.0, related=False)
        self._rests.clear()
        self.disturbed_since = None
        return [Happening("stayed", t_s, self._came_g, 0.6)]

    def pours(self, flow_g_per_s: float) -> None:
        """Start from a container whose valve is open."""
        self.trend.f, self.trend.ff = flow_g_per_s, POURS_SHARE**2 * flow_g_per_s**2

    def rests_on_it(self, gross_g: float, hand_g: float, variance_g2: float) -> None:
        """Start from a container known to weigh `gross_g`, with a hand of `hand_g` on it (negative: it lifts)."""
        self.trend.m, self.trend.mm = gross_g, variance_g2
        self.trend.put_disturbance(hand_g, self.noise_g2, related=True)
        self._came_g, self._came_s, self.disturbed_since = hand_g, self.trend.t_s, self.trend.t_s
        self._held = True

    def _undoes_doubt(self, t_s: float, level_g: float) -> bool:
        """Whether what was taken for mass, or was left of a hand, is leaving now: another hand after all."""
        doubt_s, doubt_g = self._doubt
        return t_s - doubt_s < TOOL_AFTER_S and abs(level_g + doubt_g) < max(GONE_G, UNDOES * abs(doubt_g))

    def _could_be_flow(self, t_s: float) -> bool:
        """Whether what is left of a disturbance is no more than what may have flowed unseen while it was there.

        Hands leave whole: between a flow that stopped and one as strong as any seen, the rest is the container's.
        """
        trend, seen_s = self.trend, t_s - self._came_s
        slack = GONE_G + 3.0 * self.mass_sigma
        stopped_g = FLOW_MARGIN * max(trend.f, 0.0) * seen_s
        stronger_g = FLOW_MARGIN * max(self._flow_peak - trend.f, 0.0) * seen_s
        return -stronger_g - slack <= trend.d <= stopped_g + slack

    def _let_go(self, t_s: float, y_g: float) -> list[Happening]:
        """Nothing rests there any more: readings tell the mass again."""
        trend = self.trend
        left_g = trend.d
        self.suspicion = None
        self._white.clear()
        self._rests.clear()
        trend.put_disturbance(0.0, 0.0, related=False)
        off_g = y_g - trend.m
        self._doubt, self._taken = (t_s, off_g), False
        trend.mm += off_g * off_g
        trend.update(y_g, self.noise_g2)
        self.disturbed_since = None
        return [Happening("hand_left", t_s, left_g)]

    def _was_single(self) -> bool:
        """Whether one reading alone was far off: a spike, since nothing else comes and goes between two readings."""
        return len(self.suspicion.r) == 1 and self._is_far(self.suspicion)

    def _is_far(self, suspicion: Suspicion) -> bool:
        return abs(suspicion.peak_g) > BUMP_SIGMA * sqrt(self.noise_g2)

    def _was_bump(self, t_s: float, y_g: float) -> list[Happening]:
        """Back on the trend. What hardly left it counts as evidence that the flow is changing; a single reading says
        nothing of the others."""
        suspicion, self.suspicion = self.suspicion, None
        if self.trend.dd == 0.0:
            self.disturbed_since = None
        if self._is_far(suspicion) and len(suspicion.r) == 1:
            self._believe(t_s, y_g)
            return [Happening("bumped", suspicion.onset_s, suspicion.peak_g)]
        if self._is_far(suspicion):
            self._white.clear()
            self.trend.update(y_g, self.noise_g2)
            return [Happening("bumped", suspicion.onset_s, suspicion.peak_g)]
        self._believe(t_s, y_g)
        return []

    def _was_flow(self, t_s: float, verdict: Verdict) -> list[Happening]:
        line, trend = verdict.line, self.trend
        self.suspicion = None
        self._white.clear()
        n = 1.0 / line.level_var
        trend.m += line.at(t_s)
        trend.f -= line.slope
        trend.ff = self.noise_g2 * line.slope_var + 0.01
        trend.mm = self.noise_g2 * (line.level_var + (t_s - line.t_mid) ** 2 * line.slope_var)
        trend.mf = -self.noise_g2 * (t_s - line.t_mid) * line.slope_var
        trend.mm += self.noise_g2 / n
        if trend.dd == 0.0:
            self.disturbed_since = None
        else:
            trend.mm, trend.md, trend.fd = trend.mm + trend.dd, -trend.dd, 0.0
        return [Happening("flow_changed", t_s, trend.f, verdict.confidence)]

    def _was_step(self, y_g: float, verdict: Verdict) -> list[Happening]:
        """The disturbance's weight changed by `level_g`; near to nothing it has gone and the readings anchor again."""
        trend, suspicion = self.trend, self.suspicion
        level_g, spread_g = verdict.level_g, verdict.spread_g
        self.suspicion = None
        self._white.clear()
        self._rests.clear()
        before_g = trend.d
        if before_g == 0.0 and self._undoes_doubt(suspicion.onset_s, level_g):
            undone = [Happening("undone", suspicion.onset_s, -self._doubt[1])] if self._taken else []
            return undone + self._let_go(suspicion.onset_s, y_g)
        trend.put_disturbance(before_g + level_g, (self.noise_g2 + spread_g * spread_g) / 5.0, related=True)
        if before_g and self._could_be_flow(suspicion.onset_s):
            return self._let_go(suspicion.onset_s, y_g)
        if before_g == 0.0:
            self._came_s = suspicion.onset_s
        self._came_g = trend.d
        kind = "hand_came" if trend.d > before_g else "pulled"
        return [Happening(kind, suspicion.onset_s, level_g, verdict.confidence)]
