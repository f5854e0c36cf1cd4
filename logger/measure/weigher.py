"""The scale's whole judgement: frames in, what happened on the platform and when to stop out."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from firmware_bridge.blocks import Block
from logger.measure.budget import COVERAGE_FACTOR, combined
from logger.measure.charge_account import CALIBRATION_SHARE, AccountSetup, ChargeAccount
from logger.measure.container_watch import ContainerWatch
from logger.measure.mass_tracker import Happening
from logger.measure.platform import Platform
from logger.measure.scale_frames import Frame, Framer
from logger.measure.scale_trouble import ScaleTrouble
from logger.measure.stop_decision import FillView, StopDecision, StopSetup
from logger.measure.ticks import ScaleView, Signal, Tick

AWAY_MOST_S = 20.0
SEEN = {
    "placed": "container placed",
    "put_back": "container put back",
    "lifted": "container lifted",
    "handled": "still in the hand that placed it",
    "bumped": "bumped",
    "hand_came": "something rests on the platform",
    "pulled": "something pulls at the container",
    "hand_left": "the platform is free again",
    "stayed": "a small change stayed: taken as mass",
    "undone": "what had been taken as mass has left",
    "hose_pressurised": "the hose pulls under pressure",
    "hose_released": "the hose is released",
    "flow_begun": "flow begun",
    "flow_ended": "flow ended",
    "flow_changed": "flow changed",
}


@dataclass(frozen=True, slots=True)
class WeigherSetup:
    """Masses in g, volumes in ml, times in s; None where the session does not say."""

    rate_hz: float
    refrigerant: str = ""
    target_g: float | None = None
    placard_low_g: float | None = None
    placard_high_g: float | None = None
    container_nominal_g: float | None = None
    hose_volume_ml: float | None = None
    altitude_m: float | None = None
    close_lag_s: float = 1.5
    slope_u_rel: float | None = None


class Weigher:
    """Frames from `frames`, one by one through `step`; `tick` each whole second."""

    def __init__(self, setup: WeigherSetup):
        self.setup = setup
        self._framer = Framer(setup.rate_hz)
        self.platform = Platform()
        slope_u_rel = CALIBRATION_SHARE if setup.slope_u_rel is None else setup.slope_u_rel
        account = AccountSetup(setup.refrigerant, setup.hose_volume_ml, setup.altitude_m, slope_u_rel)
        self.account = ChargeAccount(account, self.platform)
        self.stop = StopDecision(StopSetup(setup.target_g, setup.placard_high_g, setup.close_lag_s))
        self._watch = ContainerWatch(setup.container_nominal_g)
        self.happened: list[Happening] = []
        self._frame_s = max(0.1, 1.0 / setup.rate_hz)
        self._trouble = ScaleTrouble()
        self._second: list[float] = []

    def frames(self, block: Block) -> list[Frame]:
        """Frames that this block of the scale completes."""
        return self._framer.feed(block)

    def step(self, frame: Frame) -> list[Signal]:
        """Take in one frame; returns what starts and what ends."""
        self._second.append(frame.gross_g)
        happened = self.platform.step(frame)
        self.happened += happened
        self.account.follow()
        said = self._trouble.update(frame.t_s, self.platform.tracker, self.platform.flowing)
        if happened and any(h.kind == "lifted" for h in happened):
            said += self._watch.lifted()
        return said + (self._fill(frame) if self.platform.tracker else self._unseen(frame))

    def second_g(self) -> float | None:
        """Median of the frames since the last tick, so that no wild one reaches the slow judgements; None where there
        were none."""
        return median(self._second) if self._second else None

    def tick(self, tick: Tick) -> None:
        self._second.clear()
        self.account.tick(tick)

    def _fill(self, frame: Frame) -> list[Signal]:
        platform, tracker = self.platform, self.platform.tracker
        segment = self.account.segments[-1]
        if segment.purpose != "charge" or segment.on is None:
            return []
        delivered = self.account.delivered_g(self.account.trend_now_g())
        view = FillView(frame.known_t_s, frame.t_s, delivered, tracker.trend.f, platform.flowing, self._frame_s)
        said = self.stop.update(view)
        target = self.setup.target_g
        remaining = None if target is None else target - delivered
        if not tracker.disturbed and platform.flowing:
            said += self._watch.update(frame.t_s, tracker.trend.f, segment.drawn_g(platform.trend_g), remaining)
        return said

    def _unseen(self, frame: Frame) -> list[Signal]:
        """Nothing stands there. A container lifted with its valve open goes on flowing: for a while its last flow is
        carried on, so that the stop is not missed while it is held in the hand."""
        away = self.platform.away
        if away is None or self.platform.tracker is not None or frame.t_s - away.t_s > AWAY_MOST_S:
            return self.stop.fall_silent()
        delivered = self.account.delivered_g() + away.flow_g_per_s * (frame.t_s - away.t_s)
        view = FillView(frame.known_t_s, frame.t_s, delivered, away.flow_g_per_s, True, self._frame_s)
        return self.stop.update(view)

    def view(self) -> ScaleView:
        """The scale for the slow judgements."""
        tracker, platform = self.platform.tracker, self.platform
        if tracker is None:
            return ScaleView(drawn_g=self.account.drawn_g(), delivered_g=self.account.delivered_g())
        return ScaleView(
            gross_g=platform.gross_g,
            flow_g_per_s=tracker.trend.f,
            present=True,
            drawn_g=self.account.drawn_g(),
            delivered_g=self.account.delivered_g(),
            steady=platform.plateau_now() is not None,
        )

    def charge_now(self) -> dict:
        """The `charge` object of /api/now."""
        delivered = self.account.delivered_g()
        target = self.setup.target_g
        tracker = self.platform.tracker
        return {
            "target_g": target,
            "placard_low_g": self.setup.placard_low_g,
            "placard_high_g": self.setup.placard_high_g,
            "delivered_g": delivered,
            "remaining_g": None if target is None else target - delivered,
            "uncertainty_g": COVERAGE_FACTOR * combined(self.account.budget()) if self.account.charging() else None,
            "flow_g_per_s": tracker.trend.f if tracker else 0.0,
            "seconds_to_stop": self.stop.seconds_to_stop,
            "stop_said": self.stop.stop_t_s is not None,
            "container_gross_g": self.platform.gross_g,
        }
