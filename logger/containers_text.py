"""A container as a technician writes it: ``12 oz``, ``340 g gross 520 g``, ``30 lb gross 9.4 kg tare 6.2 kg``.

    WHAT-IT-IS-SOLD-AS  [gross READING]  [tare READING]  [left AMOUNT]

gross: what the scale shows with it on the platform. tare: the same when it is empty. left: what a part-used one still
holds, where no weighing says so. Each is a mass in any unit.
"""

from __future__ import annotations

import re

from logger.measure.plan import Container
from logger.quantities import QuantityError, parse_mass_g

EXAMPLE = "write for instance '12 oz', '12 oz left 5 oz' or '30 lb gross 9.4 kg tare 6.2 kg'"
_WORDS = ("gross", "tare", "left")


def parse_container(text: str) -> Container:
    """Read one container. Raises QuantityError, one line with an example."""
    parts = re.split(rf"\s+({'|'.join(_WORDS)})\b\s*", text.strip(), flags=re.IGNORECASE)
    words = [word.lower() for word in parts[1::2]]
    if len(set(words)) < len(words):
        raise QuantityError(f"{text!r}: {max(words, key=words.count)!r} stands there twice; {EXAMPLE}")
    masses = dict(zip(words, (_mass(text, part) for part in parts[2::2]), strict=True))
    if len(masses) == len(_WORDS):
        raise QuantityError(f"{text!r}: gross and tare already say what is left; leave 'left' out")
    container = Container(_mass(text, parts[0]), masses.get("left"), masses.get("gross"), masses.get("tare"))
    _check(text, container)
    return container


def _mass(text: str, part: str) -> float:
    try:
        return parse_mass_g(part)
    except QuantityError as error:
        raise QuantityError(f"container {text!r}: {str(error).split('; ')[0]}; {EXAMPLE}") from None


def _check(text: str, container: Container) -> None:
    gross, tare = container.gross_g, container.tare_g
    if gross is not None and tare is not None and gross <= tare:
        raise QuantityError(f"{text!r}: the gross reading is not above the tare, so nothing is left in it; {EXAMPLE}")
    if gross is not None and tare is None and gross <= container.holds_g:
        raise QuantityError(f"{text!r}: the gross reading leaves nothing for the container itself; {EXAMPLE}")
    if container.holds_g > 1.25 * container.nominal_g:
        raise QuantityError(f"{text!r}: it would hold more than it is sold as; check gross and tare; {EXAMPLE}")
