"""A process that keeps things until it is killed, saying after each what is kept.

Arguments: what (pairing, cart, checks, record), the folder, the number to begin with. Prints "ready", then a number for
each thing kept.
"""

from __future__ import annotations

import contextlib
import itertools
import sys
from pathlib import Path

from fuzzing import CART

from logger import calibration_book as book
from logger.measure.marks import Mark
from logger.pairing import Pairing
from logger.record.attachments import attach
from logger.record.containers import Containers
from logger.record.decisions import decide
from logger.record.store import Store

CHANNELS = {"scale": {"unit": "g", "rate_hz": 10.0, "points": None}}
SETUP = {"cart_id": "cart-1", "refrigerant": "R-134a", "placard": {"low_g": 480, "high_g": 520}}
PHOTO = b"\x89PNG\r\n\x1a\n" + bytes(2000)


def pairing(folder: Path, number: int) -> None:
    known = Pairing(folder / "paired.json")
    known.exchange(known.code(), f"phone {number}")


def cart(folder: Path, number: int) -> None:
    file = folder / "cart.toml"
    if not file.exists():
        file.write_text(CART)
    book.write_points(file, "scale", [[0, 0.0], [420000, 2000.0 + number]])


def checks(folder: Path, number: int) -> None:
    book.note(folder / "cart.toml", {"what": "check-weight", "channel": "scale", "nominal_g": float(number)})


class HalfDoneError(Exception):
    """A kill came in the midst of this one."""


class Record:
    """A session a number: begun, marked, closed, with a photo and a decision; and a container of the ledger."""

    def __init__(self, folder: Path):
        self._store = Store.open(folder / "tarebook.db")
        self._containers = Containers(self._store)

    def keep(self, number: int) -> None:
        """What the last kill left half done is closed, and its number left out."""
        store, name = self._store, f"s-{number}"
        if store.open_session_id():
            store.close_session(store.open_session_id())
        if store.reader().rows("SELECT 1 FROM session WHERE session_id = ?", name):
            raise HalfDoneError
        store.create_session({**SETUP, "session_id": name}, CHANNELS, None, {})
        store.add_mark(name, Mark(1.0, "note", {"text": name}))
        store.close_session(name)
        attach(store, name, "placard", "image/png", PHOTO)
        decide(store, name, "signed", "R. Two", "")
        self._containers.add(f"c-{number}", "refillable_cylinder", "R-134a", tare_g=1000.0, full_g=5000.0)
        store.set_value("last", number)


def main(what: str, folder: Path, number: int) -> None:
    keep = Record(folder).keep if what == "record" else lambda number: globals()[what](folder, number)
    print("ready", flush=True)
    for count in itertools.count(number):
        with contextlib.suppress(HalfDoneError):
            keep(count)
            print(count, flush=True)


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))
