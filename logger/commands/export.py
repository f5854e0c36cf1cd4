"""Write one session to a file for other programs.

recording  the session as it was sensed, for `tarebook replay`: a zip, or a folder when the name does not end in .zip
csv        readings, marks and alerts, a row each
jsonl      the same as JSON Lines, with the findings
parquet    readings as a data set partitioned by cart and month (needs the extra `parquet`)
"""

from __future__ import annotations

import argparse
from pathlib import Path

from logger.paths import add_data_argument, store_path

HELP = "a session as recording, CSV, JSON Lines or Parquet"

SUFFIX = {"recording": ".zip", "csv": ".csv", "jsonl": ".jsonl", "parquet": ""}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("session", metavar="SESSION", help="its id, as `tarebook sessions` shows it")
    parser.add_argument("--format", choices=tuple(SUFFIX), default="recording", help="default %(default)s")
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help="default: the id, in this folder")
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from logger.record.export import export_session
    from logger.record.reader import StoreReader

    path = args.output or Path(args.session + (SUFFIX[args.format] or "-parquet"))
    export_session(StoreReader(store_path(args.data)), args.session, args.format, path)
    print(path)
    return 0
