"""Copy the whole record to one file, also while the logger runs: one moment of it, and checked.

To go back: stop the logger, put the copy in place of tarebook.db in its folder, start the logger.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from logger.paths import add_data_argument, store_path

HELP = "copy the whole record to one file, also while the logger runs"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="FILE", help="where to; a copy that is there is replaced")
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from logger.record.backup import copy_store
    from logger.record.reader import StoreReader

    path = store_path(args.data)
    reader = StoreReader(path)
    reader.sessions(1)
    if args.file.exists() and args.file.samefile(path):
        raise ValueError(f"{args.file}: this is the record itself: name another file")
    if args.file.is_dir():
        raise ValueError(f"{args.file}: this is a folder: name a file in it")
    copy_store(path, args.file)
    copied = len(StoreReader(args.file).sessions())
    print(f"{args.file}: {copied} session{'' if copied == 1 else 's'}, {args.file.stat().st_size / 1e6:.1f} MB, sound")
    return 0
