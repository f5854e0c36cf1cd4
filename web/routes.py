"""One table of what the program answers: the Flask rules and the OpenAPI document both come from it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import wraps

from flask import Flask

from logger.pairing import Pairing
from web.security import require_pairing, require_reader


@dataclass(frozen=True, slots=True)
class Query:
    """One query parameter: its JSON schema and whether it must be there."""

    name: str
    schema: dict
    required: bool = False
    about: str = ""


@dataclass(frozen=True, slots=True)
class Route:
    """`path` in OpenAPI's form (`/api/sessions/{id}`); `answers` maps a status to (media type, schema or None).

    paired: changes something, so only for those who are paired. for_all: answers also where looking needs pairing.
    """

    method: str
    path: str
    view: Callable
    summary: str
    answers: dict[int, tuple[str, dict | None]]
    query: tuple[Query, ...] = ()
    body: dict[str, dict] = field(default_factory=dict)
    paired: bool = False
    for_all: bool = False

    @property
    def name(self) -> str:
        return self.view.__name__

    @property
    def rule(self) -> str:
        return re.sub(r"\{(\w+)\}", r"<\1>", self.path)

    @property
    def path_names(self) -> list[str]:
        return re.findall(r"\{(\w+)\}", self.path)


def _guarded(view: Callable, require: Callable[[Pairing], None], pairing: Pairing) -> Callable:
    @wraps(view)
    def paired_only(**arguments):
        require(pairing)
        return view(**arguments)

    return paired_only


def install_routes(app: Flask, routes: list[Route], pairing: Pairing, token_to_read: bool) -> None:
    """Register every route; changing ones only behind pairing, with `token_to_read` those that only tell as well."""
    for route in routes:
        view = route.view
        if route.paired:
            view = _guarded(view, require_pairing, pairing)
        elif token_to_read and not route.for_all:
            view = _guarded(view, require_reader, pairing)
        app.add_url_rule(route.rule, route.name, view, methods=[route.method])
