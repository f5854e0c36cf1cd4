"""List the sessions in the store, newest first.

--prune lets go of those that began more than so many days ago and are signed off; never of one that is open,
unreviewed, returned or undated. The container ledger keeps what it booked of them. Beside a running logger the cart
file does it: keep_signed_days under [limits].
"""

from __future__ import annotations

import argparse
import json
from datetime import UTC, datetime
from pathlib import Path

from logger.paths import add_data_argument, store_path

HELP = "the sessions in the store"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="as JSON")
    parser.add_argument("--prune", type=float, metavar="DAYS", help="let go of older ones that are signed off")
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from logger.record.reader import StoreReader

    path = store_path(args.data)
    if args.prune is not None:
        return _prune(path, args.prune)
    sessions = StoreReader(path).sessions() if path.exists() else []
    if args.json:
        print(json.dumps({"sessions": sessions}, indent=2, ensure_ascii=False, allow_nan=False))
        return 0
    for session in sessions:
        print(line_of(session))
    if not sessions:
        print(f"No session in {args.data} yet.")
    return 0


def _prune(path: Path, keep_days: float) -> int:
    from logger.record.decisions import prune
    from logger.record.errors import StoreBusyError
    from logger.record.store import Store

    if not path.exists():
        raise ValueError(f"{path}: there is no store yet: nothing to let go of")
    try:
        store = Store.open(path)
    except StoreBusyError as error:
        raise ValueError(
            f"{path}: the logger (process {error.holder}) works on it: write keep_signed_days under [limits] of the "
            "cart file, or stop the logger first"
        ) from None
    try:
        gone = prune(store, keep_days, datetime.now(UTC).isoformat())
    finally:
        store.close()
    print(*[f"{session_id}: let go of" for session_id in gone] or ["Nothing to let go of."], sep="\n")
    return 0


def line_of(session: dict) -> str:
    """One session on one line: id, when, refrigerant, target, delivered, what stands out."""
    when = (session.get("started_utc") or "time unknown")[:16].replace("T", " ")
    target, delivered = session.get("target_g"), session.get("delivered_g")
    charge = (
        "no charge" if delivered is None else f"{delivered:.1f} of {target:.0f} g" if target else f"{delivered:.1f} g"
    )
    notes = ["open"] if session.get("open") else []
    notes += ["outside the label"] if session.get("within_placard") is False else []
    notes += [f"{session['alerts']} alerts"] if session.get("alerts") else []
    head = f"{session['session_id']:<24} {when:<17} {session.get('refrigerant') or '':<9} {charge:<18}"
    return f"{head} {', '.join(notes)}".rstrip()
