"""A process that records seconds of a session, saying after each what is safely kept, until it is killed.

Arguments: the store's path, the number of the first second. Prints the session's id, then a line a second kept.
"""

from __future__ import annotations

import sys

from store_making import CHANNELS, SETUP, look

from logger.record.recorder import Recorder
from logger.record.store import Store


def main(path: str, second: int) -> None:
    """Resume the open session or begin one, and keep on."""
    store = Store.open(path)
    session_id = store.open_session_id() or store.create_session(SETUP, CHANNELS, None, {})
    recorder = Recorder(store)
    recorder.start()
    print(session_id, flush=True)
    while second < 5000:
        recorder.append(session_id, look(second))
        if recorder.flush():
            print(second, flush=True)
        second += 1


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
