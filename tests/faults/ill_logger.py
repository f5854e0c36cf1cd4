"""`tarebook run` with a faster clock. Arguments: cart file, data folder, HTTP port, session file, times real time; and
where the time of day is not always known, a file that is there once it is."""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path

from firmware_bridge.clock import Clock
from logger import daemon
from logger.wallclock import WallClock

if __name__ == "__main__":
    cart, data, port, setup, speed, *known = sys.argv[1:]
    if known:
        daemon.WallClock = partial(WallClock, keeps_time=lambda: False, synchronised=Path(known[0]).exists)
    daemon.Daemon = partial(daemon.Daemon, clock=Clock(float(speed)))
    sys.exit(daemon.run_daemon(argparse.Namespace(cart=cart, data=data, http=f"127.0.0.1:{port}", open=setup)))
