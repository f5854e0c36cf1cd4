"""Calibrate one channel with known values, or check the scale, guided step by step.

  tarebook calibrate scale --cart cart.toml                        known masses, new points for the cart file
  tarebook calibrate low_side --cart cart.toml                     known pressures
  tarebook calibrate scale --cart cart.toml --check-weight "2 kg"  is it still right? kept, with its history
  tarebook calibrate scale --cart cart.toml --corners              does it matter where the load stands?
  tarebook calibrate scale --cart cart.toml --watch 30             30 minutes empty: warm-up and temperature

A set of points that is reversed, not straight or too small is refused and nothing is changed. Every calibration and
check is also kept in a log beside the cart file. The checks need [scale] with class and e_g in it.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

HELP = "calibrate a channel, or check the scale, guided in words"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("channel", metavar="CHANNEL", help="scale, low_side, high_side, ...")
    parser.add_argument("--cart", required=True, metavar="FILE", help="the cart file")
    check = parser.add_mutually_exclusive_group()
    check.add_argument("--check-weight", metavar="TEXT", help="weigh a known mass and judge it, for instance '2 kg'")
    check.add_argument("--corners", action="store_true", help="weigh one load at five places of the platform")
    check.add_argument("--watch", type=float, metavar="MINUTES", help="watch the empty platform after switching on")


def run(args: argparse.Namespace) -> int:
    from firmware_bridge.cart import load_cart
    from firmware_bridge.clock import Clock
    from firmware_bridge.sources import build_sources
    from logger.calibration_session import CalibrationSession, the_source_of

    path = Path(args.cart)
    cart, clock = load_cart(path), Clock()
    source = the_source_of(args.channel, build_sources(cart, clock), path)
    source.open()
    try:
        session = CalibrationSession(path, cart, args.channel, source, clock, say=print, ask=_ask, sleep=time.sleep)
        if args.check_weight:
            return session.check_weight(args.check_weight)
        if args.corners:
            return session.corners()
        if args.watch is not None:
            return session.watch(args.watch)
        return session.calibrate()
    finally:
        source.close()


def _ask(prompt: str) -> str:
    try:
        return input(prompt)
    except EOFError:
        raise ValueError("no answer came on standard input; run this in a terminal") from None
