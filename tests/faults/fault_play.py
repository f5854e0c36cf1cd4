"""A virtual session in a closed loop with a fault in its readings: the same pipeline, order of time and record as on a
cart; the technician heeds the stop, and closes his valve at a danger alert, as its words tell him."""

from __future__ import annotations

from dataclasses import dataclass, field

from sensor_faults import Fault, Injector

from firmware_bridge.blocks import Block
from firmware_bridge.virtual.rollout import Rollout, rollout, setup_of
from firmware_bridge.virtual.senses import senses
from firmware_bridge.virtual.setting import Scenario
from logger.measure.marks import Mark
from logger.record.store import Store
from logger.replay import replay
from logger.session.events import Event
from logger.session.pipeline import Pipeline
from logger.session.setup import SessionSetup, channel_infos
from logger.session_time import SessionTime

CLOSES = "over-placard"
"""What the technician hears in place of a danger alert: a word at which he closes the valve."""


@dataclass
class Played:
    """What came of it: the truth, the findings as of live, all alerts, and all that was handed to the record."""

    rollout: Rollout
    findings: dict
    alerts: list[dict]
    handed_on: list[list[Block] | Mark] = field(default_factory=list)

    @property
    def truth(self) -> dict:
        return self.rollout.truth


class Loop:
    """The logger's side of the loop, as `rollout` wants it."""

    def __init__(self, scenario: Scenario, fault: Fault | None):
        self.setup = setup_of(scenario, senses(scenario))
        channels = channel_infos(self.setup["channels"])
        self.pipeline = Pipeline(SessionSetup.from_json(self.setup), channels)
        self.inject = Injector(fault, scenario.seed)
        self.time = SessionTime(0.0)
        self.handed_on: list[list[Block] | Mark] = []

    def look(self, blocks: list[Block]) -> list[str]:
        """Readings go in as they would from the sources; the alerts that the technician hears come out."""
        merged = self.time.merge(self.inject(blocks))
        if not merged:
            return []
        self.handed_on.append(merged)
        return [heard for event in self.pipeline.feed(merged) if (heard := _heard(event))]

    def mark(self, t_s: float, mark: str, detail: dict) -> None:
        told = Mark(self.time.mark(max(t_s, self.time.floor_s) + 0.2), mark, detail)
        self.handed_on.append(told)
        self.pipeline.mark(told)


def play(scenario: Scenario, fault: Fault | None) -> Played:
    """Play it to its end."""
    loop = Loop(scenario, fault)
    played = rollout(scenario, loop.look, loop.mark)
    findings = loop.pipeline.findings()
    return Played(played, findings, findings["alerts"], loop.handed_on)


def _heard(event: Event) -> str | None:
    if event.kind != "alert" or event.data["state"] != "raised":
        return None
    return CLOSES if event.data["severity"] == "danger" else event.data["code"]


def kept_and_judged_alike(store: Store, played: Played, name: str) -> bool:
    """Whether the store gives back all that was handed on, and a replay of it says the same to the last bit."""
    setup = {**played.rollout.setup, "session_id": name}
    channels = {key: {**channel, "points": None} for key, channel in setup["channels"].items()}
    session_id = store.create_session(setup, channels, None, {})
    handed = 0
    for item in played.handed_on:
        if isinstance(item, Mark):
            store.add_mark(session_id, item)
        else:
            handed += store.append(session_id, item)
    store.close_session(session_id)
    recording = store.reader().recording(session_id)
    again = replay(recording, {})
    return len(recording.rows) == handed and {**again, "session_id": None} == {**played.findings, "session_id": None}
