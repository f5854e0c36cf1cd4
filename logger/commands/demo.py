"""Play a whole session on a virtual cart: recovery, evacuation, hold, charge, performance.

The cart's sensors are emulated at the wire, so that drivers, pipeline, record, page and messages are the real ones; a
virtual technician works, and closes the valve when he hears the stop. The vehicle and the cart are invented. Afterwards
it stays up in a terminal, to let you look at the page; elsewhere, or with --exit-after-session, it ends.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from logger.http_address import DEFAULT_HTTP
from logger.paths import default_data_dir

HELP = "a whole session on a virtual cart, with the page for the phone"

DEFAULT_SPEED = 10.0
FASTEST = 20.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--speed", type=float, default=DEFAULT_SPEED, metavar="N", help="times real time (default %(default)g)"
    )
    parser.add_argument(
        "--data",
        type=Path,
        default=default_data_dir() / "demo",
        metavar="DIR",
        help="where to keep it (default: %(default)s)",
    )
    parser.add_argument(
        "--http", default=DEFAULT_HTTP, metavar="HOST:PORT", help="where the page is served (default %(default)s)"
    )
    parser.add_argument("--exit-after-session", action="store_true", help="end when the session has ended")


def run(args: argparse.Namespace) -> int:
    if not 0.5 <= args.speed <= FASTEST:
        raise ValueError(f"--speed {args.speed:g}: give between 0.5 and {FASTEST:g}; the emulated wires carry no more")
    from logger.demo import run_demo

    return run_demo(args.speed, args.data, args.http, stay=sys.stdout.isatty() and not args.exit_after_session)
