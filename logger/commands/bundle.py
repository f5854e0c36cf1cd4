"""Pack what is needed to find out afterwards why a cart did not do its work: versions, files, alerts, the cart file.

No secret goes in: no tokens, passwords or keys, and neither vehicles nor readings. Look into it before you send it.
The logger's own messages are in the system's journal: journalctl -u tarebook.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from logger.paths import add_data_argument

HELP = "what is needed to find a fault afterwards, without secrets"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--cart", type=Path, metavar="FILE", help="the cart file, to go in without its secrets")
    parser.add_argument("-o", "--output", type=Path, default=Path("tarebook-bundle.zip"), metavar="FILE")
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from logger.bundle import write_bundle

    write_bundle(args.output, args.data, args.cart)
    print(args.output)
    return 0
