"""A process whose files may not grow for a while: it says what the recorder says, and what is kept in the end.

Argument: the store's path. The limit on the size of files stands for a full disk; SQLite meets it as a failed write.
"""

from __future__ import annotations

import json
import resource
import signal
import sys

from store_making import CHANNELS, SETUP, look

from logger.record.recorder import Recorder
from logger.record.store import Store


def main(path: str) -> None:
    """Ten seconds with room, ten without, five with room again."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    store = Store.open(path)
    session_id = store.create_session(SETUP, CHANNELS, None, {})
    recorder = Recorder(store, batch_s=0.02)
    recorder.start()
    said = [_keep(recorder, session_id, range(10), 5.0)]
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, resource.RLIM_INFINITY))
    said.append(_keep(recorder, session_id, range(10, 20), 0.5))
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    said.append(_keep(recorder, session_id, range(20, 25), 15.0))
    recorder.stop()
    store.close()
    print(json.dumps({"session_id": session_id, "said": said}))


def _keep(recorder: Recorder, session_id: str, seconds: range, timeout_s: float) -> dict:
    for second in seconds:
        recorder.append(session_id, look(second))
    flushed = recorder.flush(timeout_s)
    state = recorder.state
    return {"flushed": flushed, "status": state.status, "reason": state.reason, "alive": recorder.alive()}


if __name__ == "__main__":
    main(sys.argv[1])
