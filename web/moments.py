"""A kept session as the live page would have shown it: snapshots of the pipeline along its readings.

Run by itself (`python -m web.moments STORE SESSION POINTS`), since sensing hours again takes seconds of a whole core.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator

from logger.measure.marks import Mark
from logger.record.reader import StoreReader
from logger.record.recording import Recording
from logger.session.pipeline import Pipeline
from logger.session.setup import SessionSetup, channel_infos
from web.answers import honest
from web.glance import with_glance

SHORTEST_STEP_S = 0.5
CLOCK = {"t_utc": None, "clock_trusted": True}


def _end_s(recording: Recording) -> float:
    """Time of the last reading or mark."""
    end = 0.0
    for item in recording.batches(None):
        end = max(end, item.t_s if isinstance(item, Mark) else max(float(block.t_s[-1]) for block in item))
    return end


def moments(recording: Recording, points: int) -> Iterator[dict]:
    """At most about `points` snapshots (/api/now objects with their glance), evenly through the session."""
    step_s = max(SHORTEST_STEP_S, _end_s(recording) / points)
    rows_a_second = sum(channel["rate_hz"] for channel in recording.channels.values())
    pipeline = Pipeline(SessionSetup.from_json(recording.session), channel_infos(recording.channels))
    due = 0.0
    for item in recording.batches(max(1, int(step_s * rows_a_second / 2))):
        if isinstance(item, Mark):
            pipeline.mark(item)
            continue
        pipeline.feed(item)
        if pipeline.time_s >= due:
            due = pipeline.time_s + step_s
            yield honest(with_glance({**pipeline.now(), **CLOCK}))


def main(store: str, session_id: str, points: str) -> int:
    try:
        recording = StoreReader(store).recording(session_id)
        shown = list(moments(recording, int(points)))
    except ValueError as error:
        print(error, file=sys.stderr)
        return 2
    json.dump({"moments": shown}, sys.stdout, allow_nan=False, separators=(",", ":"))
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:4]))
