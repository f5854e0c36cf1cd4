"""A page's script and all it imports as one file, so that a phone on a slow link asks once.

Takes the modules as they are written here: each import and each export on a line of its own, names in braces, no
default export, no import that comes back to where it began.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

IMPORT = re.compile(r'^import (?:\{ (?P<names>[^}]+) \} from )?"\./(?P<file>[\w.]+)";$', re.MULTILINE)
EXPORT = re.compile(
    r"^export (?P<what>(?:async )?function|class|const|let) (?P<names>\w+|\[[\w, ]+\])(?=[ ({=])", re.MULTILINE
)
LEFT_OVER = re.compile(r"^(?:import|export)\b.*$", re.MULTILINE)


class BundleError(ValueError):
    """A module that is not written as this takes it: one line that names it."""


def bundled(entry: str, sources: Mapping[str, str]) -> str:
    """The text of `entry` with everything it imports before it, each in a scope of its own. Raises BundleError."""
    order: list[str] = []
    _collect(entry, sources, order, ())
    if order == [entry]:
        return sources[entry]
    return "const modules = {};\n" + "".join(_scoped(name, sources[name]) for name in order)


def _collect(name: str, sources: Mapping[str, str], order: list[str], above: tuple[str, ...]) -> None:
    if name in above:
        raise BundleError(f"{name}: imports itself by way of {' and '.join(above)}")
    if name not in sources:
        raise BundleError(f"{above[-1]}: imports {name}, which is not here")
    for found in IMPORT.finditer(sources[name]):
        _collect(found["file"], sources, order, (*above, name))
    if name not in order:
        order.append(name)


def _scoped(name: str, source: str) -> str:
    exported = [word for found in EXPORT.finditer(source) for word in re.findall(r"\w+", found["names"])]
    body = EXPORT.sub(r"\g<what> \g<names>", IMPORT.sub(_taken, source))
    if strange := LEFT_OVER.search(body):
        raise BundleError(f"{name}: cannot bundle the line {strange[0]!r}")
    given = f'modules["{name}"] = {{ {", ".join(exported)} }};\n' if exported else ""
    return f"// {name}\n(() => {{\n{body}{given}}})();\n"


def _taken(found: re.Match) -> str:
    names = (found["names"] or "").replace(" as ", ": ")
    return f'const {{ {names} }} = modules["{found["file"]}"];' if names else ""
