"""Gauge pressures and temperatures as a technician types them: ``76 psi``, ``5,2 bar``, ``70 F``, ``21.5 °C``."""

from __future__ import annotations

import math
import re

from logger.quantities import QuantityError

PRESSURE_EXAMPLE = "write for instance 76 psi, 525 kPa or 5.2 bar"
TEMPERATURE_EXAMPLE = "write for instance 70 F or 21 C"
_KPA = {"psi": 6.894757293, "psig": 6.894757293, "kpa": 1.0, "bar": 100.0, "mpa": 1000.0}
"""Kilopascals in each unit (NIST SP 811)."""

_TYPED = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*(?:°|deg)?\s*([a-z]+)\s*", re.IGNORECASE)


def parse_gauge_kpa(text: str) -> float:
    """A gauge pressure in kPa. Raises QuantityError, one line with an example."""
    number, unit = _typed(text, PRESSURE_EXAMPLE)
    if unit not in _KPA:
        raise QuantityError(f"{text!r}: {unit!r} is no unit of pressure known here; {PRESSURE_EXAMPLE}")
    gauge_kpa = number * _KPA[unit]
    if not -101.4 <= gauge_kpa <= 20_000.0:
        raise QuantityError(f"{text!r}: no container stands at that pressure; {PRESSURE_EXAMPLE}")
    return gauge_kpa


def parse_temperature_c(text: str) -> float:
    """A temperature in °C. Raises QuantityError, one line with an example."""
    number, unit = _typed(text, TEMPERATURE_EXAMPLE)
    if unit not in ("c", "f"):
        raise QuantityError(f"{text!r}: {unit!r} is no unit of temperature known here; {TEMPERATURE_EXAMPLE}")
    temp_c = number if unit == "c" else (number - 32.0) / 1.8
    if not -60.0 <= temp_c <= 90.0:
        raise QuantityError(f"{text!r}: no container stands at that temperature; {TEMPERATURE_EXAMPLE}")
    return temp_c


def _typed(text: str, example: str) -> tuple[float, str]:
    found = _TYPED.fullmatch(text)
    if found is None or not math.isfinite(number := float(found[1].replace(",", "."))):
        raise QuantityError(f"{text[:40]!r}: a number and its unit are wanted; {example}")
    return number, found[2].lower()
