"""Reads one table of a TOML file strictly: every key is asked for by name and kind, and what nobody asked for is an
error that names the nearest key there is."""

from __future__ import annotations

import difflib
import math
import sys
from collections.abc import Iterable
from typing import Any


class CartError(ValueError):
    """The cart file cannot be used; one line that names the file, the key and the mend."""


class Table:
    """`where` is the table's name as the file has it, such as "[channel.scale]"; `file` goes before every complaint.

    Each method takes a key and gives its value, or `default` when the key is absent; without a default an absent key is
    an error. All raise CartError.
    """

    _REQUIRED: Any = object()

    def __init__(self, file: str, where: str, data: dict[str, Any]):
        self._file, self._where, self._data = file, where, data
        self._asked: list[str] = []

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def error(self, message: str) -> CartError:
        place = f"{self._where} " if self._where else ""
        return CartError(f"{self._file}: {place}{message}")

    def text(self, key: str, default: Any = _REQUIRED) -> Any:
        return self._take(key, default, lambda v: isinstance(v, str) and v.strip() != "", "a text in quotes")

    def texts(self, key: str, default: Any = _REQUIRED) -> Any:
        value = self._take(key, default, _are_texts, 'texts in brackets, such as ["one", "other"]')
        return tuple(value)

    def flag(self, key: str, default: Any = _REQUIRED) -> Any:
        return self._take(key, default, lambda v: isinstance(v, bool), "true or false")

    def integer(self, key: str, default: Any = _REQUIRED, low: float = -math.inf, high: float = math.inf) -> Any:
        return self._take(
            key, default, lambda v: type(v) is int and low <= v <= high, _kind("a whole number", low, high)
        )

    def number(self, key: str, default: Any = _REQUIRED, low: float = -math.inf, high: float = math.inf) -> Any:
        value = self._take(key, default, lambda v: _is_number(v) and low <= v <= high, _kind("a number", low, high))
        return float(value) if _is_number(value) else value

    def choice(self, key: str, choices: Iterable[Any], default: Any = _REQUIRED) -> Any:
        allowed = list(choices)
        kind = "one of " + ", ".join(str(each) for each in allowed)
        value = self._take(key, default, lambda v: True, kind)
        if key in self._data and (value not in allowed or isinstance(value, bool)):
            raise self.error(f"{key} = {value!r} is not {kind}{_nearest(value, allowed)}")
        return value

    def points(self, key: str, default: Any = _REQUIRED) -> Any:
        return self._take(key, default, lambda v: isinstance(v, list), "[[code, value], [code, value]]")

    def table(self, key: str) -> Table | None:
        """The table under `key`, None when there is none."""
        data = self._take(key, None, lambda v: isinstance(v, dict), f"a table: write [{key}] above its keys")
        return None if data is None else Table(self._file, f"[{self._name(key)}]", data)

    def tables(self, key: str, names: Iterable[str]) -> dict[str, Table]:
        """The tables under `key`, by name; each name must be one of `names`."""
        group = self.table(key)
        if group is None:
            return {}
        for name in names:
            group.table(name)
        group.done("there is no")
        return {name: Table(self._file, f"[{key}.{name}]", data) for name, data in group._data.items()}

    def done(self, complaint: str = "unknown key") -> None:
        """Complain of a key that nobody asked for."""
        for key in self._data:
            if key not in self._asked:
                near = _nearest(key, self._asked) or f"; there are: {', '.join(self._asked)}"
                raise self.error(f"{complaint} {key!r}{near}")

    def _name(self, key: str) -> str:
        outer = self._where.strip("[]")
        return f"{outer}.{key}" if outer else key

    def _take(self, key: str, default: Any, fits: Any, kind: str) -> Any:
        self._asked.append(key)
        if key not in self._data:
            if default is self._REQUIRED:
                near = difflib.get_close_matches(key, self._data, n=1)
                raise self.error(f"{key} is missing: " + (f"is {near[0]!r} meant?" if near else f"add {key} = {kind}"))
            return default
        value = self._data[key]
        if not fits(value):
            raise self.error(f"{key} = {value!r} is not {kind}")
        return value


def _nearest(value: Any, allowed: Iterable[Any]) -> str:
    near = difflib.get_close_matches(str(value), [str(each) for each in allowed], n=1, cutoff=0.5)
    return f", did you mean {near[0]!r}?" if near else ""


def _are_texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(each, str) and each.strip() for each in value)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= sys.float_info.max


def _kind(name: str, low: float, high: float) -> str:
    if low == -math.inf and high == math.inf:
        return name
    return f"{name} from {low:.10g}" + ("" if high == math.inf else f" to {high:.10g}")
