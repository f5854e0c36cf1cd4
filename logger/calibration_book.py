"""Where calibrations and check weights are kept: points in the cart file, and all ever taken in a log beside it."""

from __future__ import annotations

import json
import stat
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from logger.durable import add_line, lines_of, replace_whole


def log_of(cart_file: Path) -> Path:
    """The log of a cart file: JSON Lines, oldest first."""
    return cart_file.with_suffix(".checks.jsonl")


def note(cart_file: Path, entry: dict) -> None:
    """Add one line to the log, with the time, and put it on the disk before returning."""
    add_line(log_of(cart_file), json.dumps({"at_utc": _now(), **entry}, ensure_ascii=False, allow_nan=False))


def noted(cart_file: Path, what: str, channel: str) -> list[dict]:
    """Entries of one kind for one channel, oldest first. Raises ValueError naming the line that cannot be read."""
    path = log_of(cart_file)
    if not path.exists():
        return []
    entries = []
    for number, line in enumerate(lines_of(path), 1):
        try:
            entry = json.loads(line)
        except json.JSONDecodeError:
            raise ValueError(f"{path}: line {number} is not JSON; mend or remove that line") from None
        if entry.get("what") == what and entry.get("channel") == channel:
            entries.append(entry)
    return entries


def write_points(cart_file: Path, channel: str, points: Sequence[Sequence[float]]) -> None:
    """Put `points` into [channel.NAME] of the cart file; its comments and its order stay. Whole or not at all."""
    import tomlkit

    document = tomlkit.parse(cart_file.read_text(encoding="utf-8"))
    document["channel"][channel]["points"] = [[_plain(code), _plain(value)] for code, value in points]
    replace_whole(cart_file, tomlkit.dumps(document), stat.S_IMODE(cart_file.stat().st_mode), cart_file)


def day_of(entry: dict) -> float:
    """When an entry was made, in days."""
    return datetime.fromisoformat(entry["at_utc"]).timestamp() / 86400


def _plain(number: float) -> float | int:
    return int(number) if float(number).is_integer() else round(float(number), 3)


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
