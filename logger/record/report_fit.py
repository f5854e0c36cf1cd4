"""Long texts in little room: cut where they must be, whole on the next page where they are of this session."""

from __future__ import annotations

from textwrap import wrap

GOES_ON = " … (whole on page 2)"
NOTED = ("Vehicle", "Registration", "VIN", "Odometer", "Technician", "Cart", "Session", "Work done", "Leak search")
"""What people wrote; the rest the instrument says."""
PIECE = 1200
"""Characters a row of the table of whole texts has, so that each fits on a page."""

MEASURED_ROOM = 400


def room_of(head: str, most: int) -> int:
    """How long a text may be where those that people wrote may have `most` characters: what was measured gives way
    last."""
    return most if head in NOTED else max(most, MEASURED_ROOM)


def cut(words: str, most: int, goes_on: str = GOES_ON) -> str:
    """At most so many characters of it, ended between two words where there are two."""
    if len(words) <= most:
        return words
    begun = words[:most]
    return begun[: begun.rfind(" ") if " " in begun[most // 2 :] else most] + goes_on


def pieces(words: str) -> list[str]:
    """The whole of it in rows that fit on a page."""
    return wrap(words, PIECE)
