"""Where a cart keeps its things, unless it is told otherwise."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

STORE_NAME = "tarebook.db"


def default_data_dir() -> Path:
    """TAREBOOK_DATA, else the user's data folder as the XDG base directory specification has it; for a user without a
    home, a folder where the command is run."""
    if given := os.environ.get("TAREBOOK_DATA"):
        return Path(given)
    if given := os.environ.get("XDG_DATA_HOME"):
        return Path(given) / "tarebook"
    try:
        return Path.home() / ".local" / "share" / "tarebook"
    except RuntimeError:
        return Path("tarebook-data")


def store_path(data_dir: str | Path) -> Path:
    """The store within a data folder."""
    return Path(data_dir) / STORE_NAME


def add_data_argument(parser: argparse.ArgumentParser) -> None:
    """--data DIR, as every command that reads or writes the store takes it."""
    parser.add_argument(
        "--data", type=Path, default=default_data_dir(), metavar="DIR", help="the data folder (default: %(default)s)"
    )
