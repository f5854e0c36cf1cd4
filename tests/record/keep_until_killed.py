"""A process that records seconds of a session, saying after each what is safely kept, until it is killed.

Argument: the store's path. It goes on after the last second that it finds there itself: what was written in the moment
of the last kill shows only once the store is opened anew. Prints the session's id, then a line a second kept.
"""

from __future__ import annotations

import sys

from store_making import CHANNELS, SETUP, look

from logger.record.recorder import Recorder
from logger.record.store import Store


def main(path: str) -> None:
    """Resume the open session or begin one, and keep on."""
    store = Store.open(path)
    session_id, second = store.open_session_id(), 0
    if session_id:
        kept_s = store.reader().recording(session_id).rows.t_s
        second = int(kept_s[-1]) + 1 if len(kept_s) else 0
    else:
        session_id = store.create_session(SETUP, CHANNELS, None, {})
    recorder = Recorder(store)
    recorder.start()
    print(session_id, flush=True)
    while second < 5000:
        recorder.append(session_id, look(second))
        if recorder.flush():
            print(second, flush=True)
        second += 1


if __name__ == "__main__":
    main(sys.argv[1])
