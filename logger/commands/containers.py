"""The container ledger: what each container held, what went in and out, what is left by the books."""

from __future__ import annotations

import argparse
import json

from logger.paths import add_data_argument, store_path

HELP = "what each container gave, and what is left in it"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="as JSON")
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from logger.record.containers import ledger
    from logger.record.reader import StoreReader

    path = store_path(args.data)
    containers = ledger(StoreReader(path)) if path.exists() else []
    if args.json:
        print(json.dumps({"containers": containers}, indent=2, ensure_ascii=False, allow_nan=False))
        return 0
    for container in containers:
        print(line_of(container))
    if not containers:
        print(f"No container in the ledger of {args.data} yet.")
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
