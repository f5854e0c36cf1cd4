"""Run the cart: read its sensors, judge, alert, record, publish and serve the page, until stopped.

--open begins a session at once with the keys of a recording's session.json (refrigerant, placard, target, hose, ...),
unless a session that was open when the power went is to be gone on with. SIGTERM or Ctrl-C ends in order.
"""

from __future__ import annotations

import argparse

from logger.http_address import DEFAULT_HTTP
from logger.paths import add_data_argument

HELP = "run the cart: sensors, alerts, record, page, messages"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--cart", required=True, metavar="FILE", help="the cart file")
    add_data_argument(parser)
    parser.add_argument(
        "--http", default=DEFAULT_HTTP, metavar="HOST:PORT", help="where the page is served (default %(default)s)"
    )
    parser.add_argument("--open", metavar="SESSION.json", help="begin this session at once")


def run(args: argparse.Namespace) -> int:
    from logger.daemon import run_daemon

    return run_daemon(args)
