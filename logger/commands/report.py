"""Write the report of a session for the customer and the file: the result in plain words, charts, what it rests on.

The ending of FILE chooses the form: .pdf, or .html to be printed from a browser.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from logger.paths import add_data_argument, store_path

HELP = "the report for the customer and the file, as PDF or HTML"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("session", metavar="SESSION", help="its id, as `tarebook sessions` shows it")
    parser.add_argument("-o", "--output", required=True, type=Path, metavar="FILE", help="where to, .pdf or .html")
    parser.add_argument("--units", choices=("metric", "us"), default="metric", help="default %(default)s")
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from logger.record.reader import StoreReader
    from logger.record.report import write_report

    write_report(StoreReader(store_path(args.data)), args.session, args.output, args.units)
    print(f"{args.output}: written")
    return 0
