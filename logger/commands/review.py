"""Judge one session against today's criteria: what was measured, the limit, its source, the outcome.

Below the first line stands what is known of its vehicle from before. With --strict the exit status is 1 when a
criterion failed. Without SESSION it is the review of them all: charge errors with their control limits, stop lag per
technician, time per stage, vehicles that came back and what they lost.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from logger.paths import add_data_argument, store_path

HELP = "what was measured against each criterion"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("session", metavar="SESSION", nargs="?", help="its id, as `tarebook sessions` shows it")
    parser.add_argument("--dataset", type=Path, metavar="DIR", help="of all carts: what `tarebook collect` gathered")
    parser.add_argument("--json", action="store_true", help="as JSON")
    parser.add_argument("--strict", action="store_true", help="exit 1 when a criterion failed")
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from logger.findings_text import before_lines, review_lines
    from logger.record.reader import StoreReader
    from logger.record.visits import before_session
    from logger.replay import replay
    from logger.session.review import overall, review

    if args.dataset is not None:
        return _carts(args.dataset, args.session, args.json)
    reader = StoreReader(store_path(args.data))
    if args.session is None:
        return _all(reader, args.json)
    findings = reader.findings(args.session) or replay(reader.recording(args.session))
    rows, known = review(findings), before_session(reader, reader.session(args.session), findings)
    if args.json:
        told = {"session_id": args.session, "overall": overall(rows), "review": rows, **known}
        print(json.dumps(told, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        lines = [f"Session {args.session}: {overall(rows)}", *before_lines(known), *review_lines(rows)]
        print("\n".join(lines))
    return int(args.strict and overall(rows) == "fail")


def _all(reader, as_json: bool) -> int:
    from logger.record.gists import session_gists
    from logger.record.scale_checks import check_weights
    from logger.session.shop_review import shop_review
    from logger.shop_text import shop_as_text

    found = shop_review(session_gists(reader), check_weights(reader))
    print(json.dumps(found, indent=2, ensure_ascii=False, allow_nan=False) if as_json else shop_as_text(found))
    return 0


def _carts(folder: Path, session: str | None, as_json: bool) -> int:
    """Of all carts together, and of each."""
    if session is not None:
        raise ValueError(f"--dataset: leave {session} out; it is the review of all sessions there")
    try:
        from logger.record.dataset import dataset_gists
    except ImportError:
        raise ValueError("--dataset needs pyarrow: install it with pip install 'tarebook[parquet]'") from None
    from logger.session.shop_review import shop_review
    from logger.shop_text import shop_as_text

    gists = list(dataset_gists(folder))
    names = sorted({summary["cart_id"] for summary, _ in gists})
    carts = {name: shop_review([gist for gist in gists if gist[0]["cart_id"] == name]) for name in names}
    if as_json:
        print(json.dumps({"all": shop_review(gists), "carts": carts}, indent=2, ensure_ascii=False, allow_nan=False))
        return 0
    print("All carts", shop_as_text(shop_review(gists)), sep="\n")
    for name, found in carts.items():
        print(f"\nCart {name}", shop_as_text(found), sep="\n")
    return 0
