"""What is known of a cart's tools from before: the scale's last check with a weight, when channels were calibrated."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from firmware_bridge.cart import Cart
from logger.calibration_book import noted
from logger.cart_check import Line
from logger.record.reader import StoreReader
from logger.record.scale_checks import scale_checks
from logger.session.scale_due import due_words, is_due, last_check
from logger.wallclock import WallClock

MEND = "set a known mass on the scale with tarebook calibrate scale --check-weight, or from the cart's page"


def check_tools(cart: Cart, cart_file: Path, store: Path, wall: WallClock) -> list[Line]:
    """The scale's check and the channels' calibration, a line each; kept beside the cart file or in the store. Raises
    ValueError naming the line of the book that cannot be read."""
    checks = noted(cart_file, "check-weight", "scale")
    if store.exists():
        checks += scale_checks(StoreReader(store), cart.id, "check-weight")
    return [_scale(cart, last_check(checks, wall.text(), cart.limits.get("scale_check_days"))), _book(cart, cart_file)]


def _scale(cart: Cart, check: dict) -> Line:
    if not is_due(check):
        return Line("good", "check weight", due_words(check))
    first = "" if cart.scale else "add [scale] with class and e_g to the cart file, then "
    return Line("look", "check weight", f"{due_words(check)}: {first}{MEND}")


def _book(cart: Cart, cart_file: Path) -> Line:
    """The last calibration of each channel that has points."""
    dates = {name: noted(cart_file, "calibration", name) for name in cart.channels}
    told = [f"{name} {_day(entries[-1]['at_utc'])}" for name, entries in dates.items() if entries]
    unknown = [name for name, config in cart.channels.items() if config.points and not dates[name]]
    parts = [", ".join(told)] if told else []
    if unknown:
        names = ", ".join(unknown)
        parts.append(f"no date known for {names}: not written by tarebook calibrate; run it before the first charge")
    outcome = "look" if unknown else "good"
    return Line(outcome, "calibrated", "; ".join(parts) or "no channel has points of its own")


def _day(at_utc: str) -> str:
    return datetime.fromisoformat(at_utc).date().isoformat()
