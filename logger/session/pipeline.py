"""The one pipeline, live and in replay: readings and marks in, events, a snapshot and findings out.

Pure and causal: it knows no clock and no store. The same readings and marks in the same order give the same events and
findings to the last bit, however they are cut into batches.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite

from firmware_bridge.blocks import Block
from logger.measure.charge_findings import charge_findings, recovered_findings, scale_events
from logger.measure.marks import Mark
from logger.measure.physics import Physics, PhysicsSetup
from logger.measure.ticks import Signal, Tick
from logger.measure.weigher import Weigher, WeigherSetup
from logger.session.alerts import AlertBoard
from logger.session.channel_watch import ChannelWatch
from logger.session.conduct import Conduct
from logger.session.events import Event
from logger.session.review import review
from logger.session.setup import ChannelInfo, SessionSetup
from logger.session.ticker import Ticker

SCALE_RATE_HZ = 10.0


class Pipeline:
    """`setup` None: no session is open; values are shown and watched, nothing is charged.

    channels: what each channel is. limits: the cart's alert lines by name, such as "high_side_kpa".
    """

    def __init__(
        self, setup: SessionSetup | None, channels: Mapping[str, ChannelInfo], limits: Mapping[str, float] | None = None
    ):
        self.setup = setup
        self.alerts = AlertBoard()
        self._ticker = Ticker(dict(channels))
        self._watch = ChannelWatch()
        self._weigher = Weigher(_weigher_setup(setup, channels))
        self._physics = Physics(_physics_setup(setup, limits or {}))
        self._conduct = Conduct(setup, self._physics.holds, self._physics.evacuated)
        self._next_tick = 1
        self._compressor_on: bool | None = None

    @property
    def stage(self) -> str:
        return self._conduct.stages.stage

    @property
    def time_s(self) -> float:
        """Session time of the newest reading."""
        return self._ticker.now_s

    def feed(self, blocks: list[Block]) -> list[Event]:
        """Take in readings, none older than any taken in before; returns what they brought about."""
        frames = []
        for block in blocks:
            self._ticker.feed(block)
            if block.channel == "scale":
                frames += self._weigher.frames(block)
        last, seconds = self._close()
        events: list[Event] = []
        for frame in frames:
            before = min(last, _seconds_before(frame.known_t_s))
            if self._next_tick <= before:
                events += self._tick_until(before, seconds)
            if signals := self._weigher.step(frame):
                events += self._apply(frame.known_t_s, signals)
        return events + self._tick_until(last, seconds)

    def advance(self, t_s: float) -> list[Event]:
        """Time has come to `t_s` and no reading of that time or before will follow."""
        self._ticker.now_s = max(self._ticker.now_s, t_s)
        last, seconds = self._close()
        return self._tick_until(last, seconds)

    def mark(self, mark: Mark) -> list[Event]:
        """Take in what the technician told, after every reading of its time."""
        if mark.mark in ("stage", "note"):
            return self._conducted(mark.t_s, *self._conduct.told(mark))
        if mark.mark == "compressor":
            self._compressor_on = bool(mark.detail.get("on"))
        elif mark.mark == "container_on":
            self._physics.container_limit.connected(mark.detail)
        elif mark.mark == "purge":
            self._weigher.account.mark_purge(mark.t_s)
        elif mark.mark == "ack":
            return self.alerts.acknowledge(mark.t_s, str(mark.detail.get("code", "")))
        return []

    def raise_alert(self, t_s: float, signal: Signal, subject: str = "") -> list[Event]:
        """An alert from outside the readings (power, clock, storage): begins or ends like any other."""
        return self.alerts.apply(t_s, signal, subject)

    def now(self, now_s: float | None = None) -> dict:
        """The snapshot of /api/now as of session time `now_s` (default: the newest reading's)."""
        now_s = self._ticker.now_s if now_s is None else max(now_s, self._ticker.now_s)
        return {
            "t_s": now_s,
            "session_id": self.setup.session_id if self.setup else None,
            "refrigerant": self.setup.refrigerant if self.setup else None,
            "stage": self.stage,
            "stage_suggested": self._conduct.live(),
            "channels": self._ticker.snapshot(now_s),
            "charge": self._weigher.charge_now(),
            "physics": self._physics.live(),
            "alerts": [alert.to_json() for alert in self.alerts.standing()],
        }

    def findings(self) -> dict:
        """Everything that can be said of the session as far as it has come."""
        found = clean(
            {
                "session_id": self.setup.session_id if self.setup else None,
                "refrigerant": self.setup.refrigerant if self.setup else None,
                "duration_s": self._ticker.now_s,
                "charge": charge_findings(self._weigher),
                "recovered": recovered_findings(self._weigher),
                **self._physics.findings(),
                **self._conduct.findings(),
                "scale_events": scale_events(self._weigher),
                "alerts": [alert.to_json() for alert in self.alerts.all],
            }
        )
        return found | {"review": review(found)}

    def _close(self) -> tuple[int, dict]:
        last = self._ticker.due()
        return last, self._ticker.close_until(last) if last >= self._next_tick else {}

    def _tick_until(self, last: int, seconds: dict) -> list[Event]:
        events: list[Event] = []
        while self._next_tick <= last:
            k = self._next_tick
            self._next_tick += 1
            means = self._ticker.enter(k, seconds)
            for subject, signal in self._watch.update(k, self._ticker.channels):
                events += self.alerts.apply(float(k), signal, subject)
            tick = self._tick(float(k), means)
            self._weigher.tick(tick)
            events += self._apply(float(k), self._physics.update(tick))
            events += self._conducted(float(k), *self._conduct.seen(tick, self._physics.holding))
        return events

    def _tick(self, t_s: float, means: dict[str, float]) -> Tick:
        hint = self._conduct.stages.hint
        level_g = self._weigher.second_g()
        if level_g is not None:
            means = {**means, "scale": level_g}
        return Tick(t_s, self._ticker.good(), means, hint, self._weigher.view(), self._compressor_on)

    def _conducted(self, t_s: float, events: list[Event], signals: list[Signal]) -> list[Event]:
        if events:
            self._weigher.account.mark_stage(self.stage)
        return events + self._apply(t_s, signals)

    def _apply(self, t_s: float, signals: list[Signal]) -> list[Event]:
        return [event for signal in signals for event in self.alerts.apply(t_s, signal)]


def _seconds_before(t_s: float) -> int:
    """The last whole second before `t_s`, itself excluded."""
    whole = int(t_s)
    return whole - 1 if whole == t_s else whole


def _weigher_setup(setup: SessionSetup | None, channels: Mapping[str, ChannelInfo]) -> WeigherSetup:
    rate_hz = channels["scale"].rate_hz if "scale" in channels else SCALE_RATE_HZ
    if setup is None:
        return WeigherSetup(rate_hz)
    return WeigherSetup(
        rate_hz,
        setup.refrigerant,
        setup.target_g,
        setup.placard_low_g,
        setup.placard_high_g,
        setup.container_nominal_g,
        setup.hose_volume_ml,
        setup.altitude_m,
        setup.lag_s,
        setup.scale_slope_u_rel,
    )


def _physics_setup(setup: SessionSetup | None, limits: Mapping[str, float]) -> PhysicsSetup:
    if setup is None:
        return PhysicsSetup("", None, None, None, limits)
    return PhysicsSetup(setup.refrigerant, setup.system_volume_ml, setup.hose_volume_ml, setup.altitude_m, limits)


def clean(value: object) -> object:
    """The same with every NaN and infinity as None: JSON knows neither."""
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: clean(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [clean(item) for item in value]
    return value
