"""Read every sensor of a cart at rest once and say, a line each, what it saw and whether it makes sense.

Do it with ports open to air, nothing on the scale, the engine off. "good" is fine, "look" is worth a look, "bad" must
be mended before a session; the line says how. Exit 1 when something is bad.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from logger.paths import add_data_argument

HELP = "read every sensor once: what it saw, and whether it makes sense"

LOOK_S = 5.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--cart", required=True, metavar="FILE", help="the cart file")
    parser.add_argument(
        "--seconds", type=float, default=LOOK_S, metavar="N", help="how long to look (default %(default)g)"
    )
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from firmware_bridge.cart import load_cart
    from firmware_bridge.clock import Clock
    from firmware_bridge.sources import build_sources
    from logger.cart_check import check_broker, check_clock, check_disk, check_page, check_sources
    from logger.cart_tools import check_tools
    from logger.paths import store_path
    from logger.wallclock import WallClock

    if not 1 <= args.seconds <= 600:
        raise ValueError(f"--seconds {args.seconds:g}: give between 1 and 600")
    cart, clock, wall = load_cart(args.cart), Clock(), WallClock()
    tools = check_tools(cart, Path(args.cart), store_path(args.data), wall)
    lines = check_sources(build_sources(cart, clock), cart, clock, args.seconds)
    lines += [check_disk(args.data), check_clock(wall), check_broker(cart.mqtt), check_page(cart.http, wall), *tools]
    for line in lines:
        print(line)
    return int(any(line.outcome == "bad" for line in lines))
