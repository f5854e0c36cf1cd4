"""Whether the scale was checked with a weight lately: told at a session's begin, kept with it, judged from it.

So a recording carries what was known on the day, and a replay elsewhere judges by the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from math import isfinite

CHECK_DAYS = 30.0
"""How long a check with a weight is good for, where the cart file does not say (common practice, no source)."""

NEVER = "no check with a weight is on record"
_NUMBERS = ("days_before", "due_days", "nominal_g", "off_g")
_TEXTS = ("at_utc", "outcome")


def last_check(entries: Sequence[Mapping], now_utc: str | None, due_days: float | None) -> dict:
    """The newest check weight of `entries` (at_utc, nominal_g, shown_g, outcome), seen from `now_utc`, None where the
    time is not known; every value but due_days None where there is none."""
    known = max(entries, key=lambda entry: entry["at_utc"], default=None)
    found: dict = {**dict.fromkeys((*_TEXTS, *_NUMBERS)), "due_days": due_days or CHECK_DAYS}
    if known is None:
        return found
    found |= {key: known[key] for key in ("at_utc", "outcome", "nominal_g")}
    return found | {
        "off_g": round(known["shown_g"] - known["nominal_g"], 3),
        "days_before": None if now_utc is None else _days(known["at_utc"], now_utc),
    }


def told_check(told: object) -> dict | None:
    """What a session's description says of it, as far as it makes sense; None where it says nothing."""
    if not isinstance(told, Mapping):
        return None
    numbers = {key: _number(told.get(key)) for key in _NUMBERS}
    texts = {key: value if isinstance(value := told.get(key), str) else None for key in _TEXTS}
    return {**numbers, **texts, "due_days": numbers["due_days"] or CHECK_DAYS}


def is_due(check: Mapping) -> bool:
    """Whether it should be checked before the next charge: never was, too long ago, or it failed."""
    days = check["days_before"]
    return check["at_utc"] is None or check["outcome"] == "fail" or (days is not None and days > check["due_days"])


def check_words(check: Mapping) -> str:
    """When it was checked, with what, and how far off it was."""
    if check["at_utc"] is None:
        return NEVER
    weight = "" if check["nominal_g"] is None else f" with {check['nominal_g']:g} g"
    off = "" if check["off_g"] is None else f", off by {check['off_g']:+.1f} g"
    return f"last checked{weight} on {check['at_utc'][:10]}{off}"


def due_words(check: Mapping) -> str:
    """The same with how long that was ago, and why it is due where it is."""
    if check["at_utc"] is None:
        return NEVER
    days = check["days_before"]
    ago = "" if days is None else f", {days:.0f} days ago"
    why = "it failed" if check["outcome"] == "fail" else f"due after {check['due_days']:.0f} days"
    return f"{check_words(check)}{ago}; {why}"


def _days(then: str, now: str) -> float:
    return round((datetime.fromisoformat(now) - datetime.fromisoformat(then)).total_seconds() / 86400.0, 2)


def _number(value: object) -> float | None:
    fits = isinstance(value, (int, float)) and not isinstance(value, bool) and isfinite(value)
    return float(value) if fits else None
