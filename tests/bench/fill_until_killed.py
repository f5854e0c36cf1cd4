"""A process that keeps and judges a played fill, many times faster than it was, until it is killed or at its end.

Arguments: the store's path, the recording of the fill, times real time, seconds without readings after a kill. Prints a
line when readings begin to be kept, and closes the session at the end.
"""

from __future__ import annotations

import sys
import time

from logger.measure.marks import Mark
from logger.record.recorder import Recorder
from logger.record.recording import read_recording
from logger.record.store import Store
from logger.resume import rebuild
from logger.session.pipeline import Pipeline
from logger.session.setup import SessionSetup, channel_infos

BATCH_S = 0.8
"""How much of the session the recorder gathers before it writes, as on a cart."""


def main(path: str, fill: str, speed: float, off_s: float) -> None:
    """Go on with the open session as the logger does after a loss of power, or begin it."""
    recording, store = read_recording(fill), Store.open(path)
    session_id, pipeline, from_s = store.open_session_id(), None, -1.0
    if session_id is None:
        channels = {name: {**channel, "points": None} for name, channel in recording.channels.items()}
        session_id = store.create_session(recording.session, channels, None, {})
        pipeline = Pipeline(SessionSetup.from_json(recording.session), channel_infos(recording.channels), {})
    else:
        pipeline, last_s = rebuild(store.reader(), session_id, {})
        from_s = last_s + off_s
    told = {(mark.mark, str(mark.detail)) for mark in store.reader().marks(session_id)}
    recorder = Recorder(store, max(BATCH_S / speed, 0.01))
    recorder.start()
    print(session_id, flush=True)
    begun_s = time.monotonic()
    for item in recording.batches(20):
        if isinstance(item, Mark):
            if (item.mark, str(item.detail)) not in told:
                mark = Mark(max(item.t_s, from_s), item.mark, item.detail)  # told late when the power was off
                recorder.mark(session_id, mark)
                pipeline.mark(mark)
        elif item[0].t_s[0] > from_s:
            now_s = max(block.t_s[-1] for block in item)
            time.sleep(max(begun_s + (now_s - max(from_s, 0.0)) / speed - time.monotonic(), 0.0))
            recorder.append(session_id, item)
            pipeline.feed(item)
    recorder.findings(session_id, pipeline.findings())
    recorder.stop()
    store.close_session(session_id)
    store.close()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], float(sys.argv[3]), float(sys.argv[4]))
