"""The container ledger: what each container held, what went in and out, what is left by the books and by the scale.

Sessions are booked as they close, by the label that was told when a container was connected. What stood on the platform
without a label, or could not be booked, is listed with the reason.
"""

from __future__ import annotations

import argparse
import json

from logger.findings_text import clock
from logger.paths import add_data_argument, store_path

HELP = "what each container gave, and what is left in it"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="as JSON")
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from logger.record.container_booking import unbooked, weighed
    from logger.record.containers import ledger
    from logger.record.reader import StoreReader

    path = store_path(args.data)
    reader = StoreReader(path) if path.exists() else None
    checks = weighed(reader) if reader else {}
    containers = [{**held, "scale": checks.get(held["label"])} for held in ledger(reader)] if reader else []
    missing = unbooked(reader) if reader else []
    if args.json:
        told = {"containers": containers, "unbooked": missing}
        print(json.dumps(told, indent=2, ensure_ascii=False, allow_nan=False))
        return 0
    for container in containers:
        print(line_of(container), *limit_lines(container), *scale_lines(container), sep="\n")
    if not containers:
        print(f"No container in the ledger of {args.data} yet.")
    for stay in missing:
        print(missing_line(stay))
    return 0


def line_of(container: dict) -> str:
    """One container on one line: label, kind, refrigerant, what is left of what it held, what went in and out."""
    moved = [
        f"{words} {container[key]:.0f} g"
        for key, words in (("drawn_g", "drawn"), ("recovered_g", "recovered into"), ("sent_g", "sent"))
        if container.get(key)
    ]
    left = "unknown" if container.get("left_g") is None else f"{container['left_g']:.0f} g"
    kind = (container.get("kind") or "").replace("_", " ")
    what = f"{kind:<20} {container.get('refrigerant') or '':<9}"
    return f"{container['label']:<16} {what} left {left:<10} {', '.join(moved)}".rstrip()


def limit_lines(container: dict) -> list[str]:
    """What more it takes, and the last check for air, where they are known."""
    room_g, air = container.get("room_g"), container.get("air_check")
    lines = []
    if room_g is not None:
        room = f"takes {room_g:.0f} g more" if room_g >= 0 else f"is over its limit by {-room_g:.0f} g"
        lines.append(f"{room} (80 % of its volume)")
    if air:
        lines.append(f"air {air['verdict']} on {(air['at_utc'] or 'a day not known')[:10]}: {air['why']}")
    return [f"{'':<16} {line}" for line in lines]


def scale_lines(container: dict) -> list[str]:
    """The scale beside the ledger, where the container has been weighed and its tare is known."""
    check = container["scale"]
    if check is None:
        return []
    off_g = check["discrepancy_g"]
    beside = f"{abs(off_g):.0f} g {'more' if off_g > 0 else 'less'} than the ledger"
    if abs(off_g) < 0.5:
        beside = "as the ledger says"
    return [f"{'':<16} the scale shows {check['left_by_scale_g']:.0f} g left after {check['session_id']}, {beside}"]


def missing_line(stay: dict) -> str:
    """A container that stood on the platform and is in no ledger: when, what it gave or took, why it is not booked."""
    moved = f"drawn {stay['drawn_g']:.0f} g" if stay["drawn_g"] > 0 else f"recovered into {stay['recovered_g']:.0f} g"
    return f"not booked       {stay['session_id']} at {clock(stay['on_t_s'])}, {moved}: {stay['why']}"
