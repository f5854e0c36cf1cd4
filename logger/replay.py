"""A recording sensed again: the pipeline of the daemon, fed from a file, with no clock of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from logger.measure.marks import Mark
from logger.record.recording import Recording
from logger.session.events import Event
from logger.session.pipeline import Pipeline
from logger.session.setup import SessionSetup, channel_infos

READINGS_A_LOOK = 20
"""Readings handed on together when a replay is paced, about what a cart gathers between two looks."""


def replay(
    recording: Recording,
    limits: Mapping[str, float] | None = None,
    pace: Callable[[float], None] | None = None,
    tell: Callable[[Event], None] | None = None,
) -> dict:
    """The findings of `recording` under `limits` (keys of a cart file's [limits]).

    pace: called with the session time of what comes next, and may wait; without it all goes as fast as it can. tell:
    called with every event as it happens. Raises SetupError where session.json cannot be used.
    """
    setup = SessionSetup.from_json(recording.session)
    pipeline = Pipeline(setup, channel_infos(recording.channels), dict(limits or {}))
    for item in recording.batches(READINGS_A_LOOK if pace else None):
        if pace:
            pace(_begins_s(item))
        events = pipeline.mark(item) if isinstance(item, Mark) else pipeline.feed(item)
        if tell:
            for event in events:
                tell(event)
    return pipeline.findings()


def _begins_s(item: Mark | list) -> float:
    return item.t_s if isinstance(item, Mark) else min(float(block.t_s[0]) for block in item)
