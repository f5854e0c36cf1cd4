"""JSON as records keep it: no NaN, no key twice."""

from __future__ import annotations

import json


class DuplicateKeyError(ValueError):
    """An object that names one key twice: which of the two is meant, nobody knows."""


def load_json(text: str) -> object:
    """Strict JSON. Raises ValueError (JSONDecodeError, DuplicateKeyError, number out of range), RecursionError."""
    value = json.loads(text, object_pairs_hook=_unique, parse_constant=_refuse, parse_float=_finite)
    dump_json(value)
    return value


def dump_json(value: object) -> str:
    """Compact JSON for a database cell. Raises ValueError for NaN, infinity or half a character, TypeError for
    what JSON has not."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    text.encode()
    return text


def _unique(pairs: list[tuple[str, object]]) -> dict:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise DuplicateKeyError(f"{twice!r} stands there twice; keep one")
    return found


def _refuse(constant: str) -> float:
    raise json.JSONDecodeError(f"{constant} is no JSON number; write null", constant, 0)


def _finite(text: str) -> float:
    value = float(text)
    if value - value != 0:
        raise ValueError(f"{text} is out of range")
    return value
