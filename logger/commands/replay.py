"""Sense a recording again through the pipeline of the cart, and say what it finds.

RECORDING is a folder or a zip with session.json, readings.csv and marks.csv. It is replayed at once,
or at --speed times real time, telling alerts as they come.

  tarebook replay r.zip --what-if close_lag_s=2.5 --what-if high_side_kpa=2000     lists what would differ
"""

from __future__ import annotations

import argparse
import json
import time

HELP = "judge a recording again: charge, vacuum, alerts, review"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("recording", metavar="RECORDING", help="a recording's folder or zip")
    parser.add_argument("--json", action="store_true", help="the findings as JSON")
    parser.add_argument("--speed", type=float, metavar="N", help="so many times real time, instead of at once")
    parser.add_argument("--config", metavar="FILE", help="a cart file whose [limits] are to apply")
    what_if = "list what another target, lag or limit changes"
    parser.add_argument("--what-if", action="append", default=[], metavar="KEY=NUMBER", help=what_if)
    parser.add_argument("--strict", action="store_true", help="exit 1 when a criterion of the review fails")


def run(args: argparse.Namespace) -> int:
    from logger.findings_text import failed, findings_as_text, told
    from logger.record.recording import read_recording
    from logger.replay import replay

    if args.speed is not None and not 0 < args.speed < 1e6:
        raise ValueError(f"--speed {args.speed:g}: give a number above zero, for instance 10")
    limits = _limits(args.config)
    recording = read_recording(args.recording)
    if args.what_if:
        return _what_if(recording, limits, args)
    pace = _pacer(args.speed) if args.speed else None
    tell = None if args.json or pace is None else lambda event: print(told(event), flush=True)
    findings = replay(recording, limits, pace, tell)
    print(json.dumps(findings, indent=2, allow_nan=False) if args.json else findings_as_text(findings))
    return 1 if args.strict and failed(findings) else 0


def _what_if(recording, limits: dict[str, float], args: argparse.Namespace) -> int:
    """Replay twice and list the differences, a line each."""
    from dataclasses import replace

    from firmware_bridge.cart import LIMITS
    from logger.replay import replay
    from logger.session.what_if import differences, parse_changes, split_changes

    of_session, of_cart = split_changes(parse_changes(args.what_if), LIMITS)
    changed = replace(recording, session={**recording.session, **of_session})
    found = differences(replay(recording, limits), replay(changed, {**limits, **of_cart}))
    if args.json:
        print(json.dumps({"differences": found}, indent=2, ensure_ascii=False, allow_nan=False))
        return 0
    if not found:
        print("nothing would differ")
        return 0
    print(f"{'':<34} {'was':>12}  {'would be':>12}")
    for row in found:
        print(f"{row['what']:<34} {_shown(row['was']):>12}  {_shown(row['would_be']):>12}")
    return 0


def _shown(value: object) -> str:
    return "–" if value is None else f"{value:.6g}" if isinstance(value, float) else str(value)


def _limits(path: str | None) -> dict[str, float]:
    if path is None:
        return {}
    from firmware_bridge.cart import load_cart

    return dict(load_cart(path).limits)


def _pacer(speed: float):
    """Waits until session time t has come, counted from the first call."""
    start: list[float] = []

    def pace(t_s: float) -> None:
        due = t_s / speed
        if not start:
            start.append(time.monotonic() - due)
        time.sleep(max(start[0] + due - time.monotonic(), 0.0))

    return pace
