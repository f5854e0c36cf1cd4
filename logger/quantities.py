"""Masses as technicians write them on labels and work orders, read into grams and written back in the reader's unit.

Read: ``620 g``, ``0,62 kg``, ``22 oz``, ``1 lb 6 oz``, and on a placard also ``1.26-1.39 lb``, ``570 to 600 g``,
``620 g +/- 15 g``, ``22 ± 0.5 oz``. Units are those of the pint library, whose avoirdupois pound is the exact
0.453 592 37 kg of NIST SP 811, appendix B.
"""

from __future__ import annotations

import functools
import re
import unicodedata

from logger.measure.plan import Placard

ASSUMED_TOLERANCE_G = 15.0
"""What a placard with a single amount is taken to allow: service equipment must deliver within ±15 g of the maker's
amount (40 CFR 82 subpart B, appendix C, the text of SAE J2788)."""

SMALLEST_MASS_G, LARGEST_MASS_G = 0.1, 200_000.0
SMALLEST_CHARGE_G, LARGEST_CHARGE_G = 20.0, 30_000.0

EXAMPLE = "write for instance 620 g, 22 oz or 1 lb 6 oz"
PLACARD_EXAMPLE = "write for instance 1.26-1.39 lb, 620 g +/- 15 g or 22 oz"

_TOKEN = re.compile(r"\s*(?:(?P<number>\d+(?:[.,]\d+)?|[.,]\d+)|(?P<unit>[a-zµ_#]+)\.?|(?P<sign>[-±]))")
_ALIASES = {"kgs": "kg", "gms": "g", "gm": "g", "#": "lb", "floz": "fluid_ounce"}
_GRAMS = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}
_DIGITS = {"g": 1, "kg": 3, "oz": 1, "lb": 2}


class QuantityError(ValueError):
    """Text that is no mass or placard; one line that says why and gives an example."""


def parse_mass_g(text: str) -> float:
    """One mass in grams, ``1 lb 6 oz`` as well as ``0.62 kg``. Raises QuantityError."""
    tokens = _tokens(text, EXAMPLE)
    if any(kind == "sign" for kind, _ in tokens):
        why = "a mass cannot be negative" if tokens[0] == ("sign", "-") else "one mass is wanted, not a range"
        raise QuantityError(f"{text!r}: {why}; {EXAMPLE}")
    return _within(_side_g(text, tokens, None, EXAMPLE), SMALLEST_MASS_G, LARGEST_MASS_G, text, EXAMPLE)


def parse_placard(text: str) -> Placard:
    """The amount a vehicle's label asks for: a range, a nominal amount with its tolerance, or an amount alone, which is
    given ±15 g and marked so (`Placard.tolerance_assumed`). Raises QuantityError."""
    tokens = _tokens(text, PLACARD_EXAMPLE)
    signs = [i for i, (kind, _) in enumerate(tokens) if kind == "sign"]
    if len(signs) > 1:
        raise QuantityError(f"{text!r}: more than one range or tolerance; {PLACARD_EXAMPLE}")
    if not signs:
        nominal = _charge_g(text, tokens, None)
        return Placard(nominal - ASSUMED_TOLERANCE_G, nominal + ASSUMED_TOLERANCE_G, nominal, tolerance_assumed=True)
    left, right = tokens[: signs[0]], tokens[signs[0] + 1 :]
    if not left:
        raise QuantityError(f"{text!r}: a charge cannot be negative; {PLACARD_EXAMPLE}")
    if not right:
        raise QuantityError(f"{text!r}: nothing follows the {tokens[signs[0]][1]}; {PLACARD_EXAMPLE}")
    if tokens[signs[0]][1] == "±":
        return _toleranced(text, left, right)
    return _ranged(text, left, right)


def unit_of(text: str) -> str:
    """The unit to answer in: ``oz``, ``lb``, ``kg``, ``g``, or ``lb oz`` where the text mixes the two; g if unknown."""
    units: list[str] = []
    for kind, word in _tokens(text, EXAMPLE):
        short = _short(word) if kind == "unit" else None
        if short and short not in units:
            units.append(short)
    return "lb oz" if units[:2] == ["lb", "oz"] else (units or ["g"])[0]


def format_mass(mass_g: float, unit: str = "g") -> str:
    """A mass in `unit` (one of those `unit_of` gives), rounded to what a cart's scale can show."""
    if unit == "lb oz":
        ounces = round(abs(mass_g) / _GRAMS["oz"], 1)
        pounds, rest = divmod(ounces, 16)
        return f"{'-' if mass_g < 0 and ounces else ''}{pounds:.0f} lb {rest:.1f} oz"
    return f"{mass_g / _GRAMS[unit]:.{_DIGITS[unit]}f} {unit}"


def format_both(mass_g: float, unit: str) -> str:
    """Grams, with the reader's own unit in brackets when that is another."""
    return format_mass(mass_g) if unit == "g" else f"{format_mass(mass_g)} ({format_mass(mass_g, unit)})"


def _toleranced(text: str, left: list, right: list) -> Placard:
    unit = _last_unit(right)
    nominal = _charge_g(text, left, unit)
    tolerance = _side_g(text, right, _last_unit(left), PLACARD_EXAMPLE)
    if tolerance >= nominal:
        raise QuantityError(f"{text!r}: the tolerance is not smaller than the amount; {PLACARD_EXAMPLE}")
    return Placard(nominal - tolerance, nominal + tolerance, nominal)


def _ranged(text: str, left: list, right: list) -> Placard:
    low = _charge_g(text, left, _last_unit(right))
    high = _charge_g(text, right, _last_unit(left))
    if high < low:
        raise QuantityError(f"{text!r}: the range is reversed, the smaller amount comes first; {PLACARD_EXAMPLE}")
    return Placard(low, high, (low + high) / 2)


def _charge_g(text: str, tokens: list, borrowed: str | None) -> float:
    mass = _side_g(text, tokens, borrowed, PLACARD_EXAMPLE)
    return _within(mass, SMALLEST_CHARGE_G, LARGEST_CHARGE_G, text, PLACARD_EXAMPLE)


def _within(mass_g: float, low: float, high: float, text: str, example: str) -> float:
    if low <= mass_g <= high:
        return mass_g
    if mass_g == 0:
        raise QuantityError(f"{text!r}: zero is no amount; {example}")
    raise QuantityError(f"{text!r}: {mass_g:.4g} g is not between {low:g} g and {high / 1000:g} kg; {example}")


def _tokens(text: str, example: str) -> list[tuple[str, str]]:
    plain = unicodedata.normalize("NFKC", text).lower()
    plain = re.sub(r"\+\s*/?\s*[-\u2212\u2013]", "±", plain)
    plain = re.sub(r"[\u2010-\u2015\u2212]|\s+to\s+", "-", plain)
    plain = re.sub(r"\bfl\.?\s*oz\b", "floz", plain).strip()
    tokens, at = [], 0
    while at < len(plain):
        match = _TOKEN.match(plain, at)
        if not match:
            raise QuantityError(f"{text!r}: cannot read {plain[at:].strip()[:20]!r}; {example}")
        tokens.append((match.lastgroup or "", match.group(match.lastgroup or 0)))
        at = match.end()
    if not tokens:
        raise QuantityError(f"{text!r}: no amount given; {example}")
    return tokens


def _side_g(text: str, tokens: list[tuple[str, str]], borrowed: str | None, example: str) -> float:
    """The sum of ``number unit`` terms; only the last may borrow its unit from the other side."""
    total, last_factor, at = 0.0, float("inf"), 0
    while at < len(tokens):
        kind, word = tokens[at]
        if kind != "number":
            raise QuantityError(f"{text!r}: a number is missing before {word!r}; {example}")
        unit = tokens[at + 1][1] if at + 1 < len(tokens) and tokens[at + 1][0] == "unit" else None
        if unit is None and (borrowed is None or len(tokens) > 1):
            raise QuantityError(f"{text!r}: {word} has no unit; {example}")
        factor = _factor_g(text, unit or borrowed or "", example)
        if factor >= last_factor:
            raise QuantityError(f"{text!r}: parts go from the larger unit to the smaller; {example}")
        total, last_factor, at = total + _number(text, word, example) * factor, factor, at + (2 if unit else 1)
    return total


def _number(text: str, word: str, example: str) -> float:
    whole, comma, decimals = word.partition(",")
    if comma and len(decimals) == 3 and whole.strip("0"):
        raise QuantityError(f"{text!r}: {word} can mean two numbers; write {whole}{decimals} or {whole}.{decimals}")
    return float(word.replace(",", "."))


def _last_unit(tokens: list[tuple[str, str]]) -> str | None:
    return next((word for kind, word in reversed(tokens) if kind == "unit"), None)


@functools.cache
def _registry():
    import pint

    return pint.UnitRegistry()


@functools.lru_cache(maxsize=256)
def _mass_factor(word: str) -> float | None:
    """Grams in one `word`; None where it is no unit, NaN where it is a unit of something else."""
    import pint

    if word == "gr":  # a grain to pint, a gram to many a writer
        return None
    try:
        unit = _registry().parse_units(_ALIASES.get(word, word))
    except (pint.UndefinedUnitError, pint.DefinitionSyntaxError, ValueError, TypeError):
        return None
    if unit.dimensionality != {"[mass]": 1}:
        return float("nan")
    return float(_registry().Quantity(1, unit).to("g").magnitude)


def _factor_g(text: str, word: str, example: str) -> float:
    factor = _mass_factor(word)
    if factor is None:
        raise QuantityError(f"{text!r}: {word!r} is no unit of mass that can be told for sure; {example}")
    if factor != factor:
        raise QuantityError(f"{text!r}: {word!r} is no unit of mass, and a charge goes by mass; {example}")
    return factor


def _short(word: str) -> str | None:
    factor = _mass_factor(word)
    return next((name for name, grams in _GRAMS.items() if factor and abs(factor / grams - 1) < 1e-9), None)
