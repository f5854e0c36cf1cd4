"""Vehicle identification numbers: shape by ISO 3779, check digit by 49 CFR 565.15(c).

The check digit stands in position 9 and is required in North America (first character 1 to 5); China (L, GB 16735) uses
the same scheme. Elsewhere position 9 is free, and so nothing is held against it there.
"""

from __future__ import annotations

LENGTH = 17
CHECK_AT = 8
CHECKED_REGIONS = "12345L"
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
"""49 CFR 565.15(c), table IV."""

VALUES = {str(n): n for n in range(10)} | dict(zip("ABCDEFGH", range(1, 9), strict=True))
VALUES |= (
    dict(zip("JKLMN", range(1, 6), strict=True)) | {"P": 7, "R": 9} | dict(zip("STUVWXYZ", range(2, 10), strict=True))
)
"""49 CFR 565.15(c), table III; I, O and Q are not used in a VIN."""


class VinError(ValueError):
    """A text that is no VIN, in one line with the mend."""


def check_digit(vin: str) -> str:
    """What belongs in position 9 of a VIN of 17 allowed characters: the weighted sum modulo 11, X for 10."""
    rest = sum(VALUES[c] * weight for c, weight in zip(vin, WEIGHTS, strict=True)) % 11
    return "X" if rest == 10 else str(rest)


def has_check_digit(vin: str) -> bool:
    """Whether the scheme of the VIN's region has a check digit."""
    return vin[0] in CHECKED_REGIONS


def parse_vin(text: str) -> str:
    """The VIN as 17 capitals. Raises VinError."""
    vin = "".join(text.upper().split()).replace("-", "")
    if len(vin) != LENGTH:
        raise VinError(f"vin {text!r}: it has {len(vin)} characters: a VIN has {LENGTH}; read it again")
    for place, character in enumerate(vin, 1):
        if character not in VALUES:
            raise VinError(
                f"vin {text!r}: {character!r} at place {place} does not occur in a VIN; is it {_meant(character)}?"
            )
    if has_check_digit(vin) and vin[CHECK_AT] != check_digit(vin):
        raise VinError(
            f"vin {text!r}: the check digit at place 9 is {vin[CHECK_AT]}, by the others it should be "
            f"{check_digit(vin)}: one character is wrong, or two are exchanged; read it again"
        )
    return vin


def _meant(character: str) -> str:
    return {"I": "1", "O": "0", "Q": "0 or 9"}.get(character, "a digit or a letter")
