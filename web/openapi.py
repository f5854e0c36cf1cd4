"""The OpenAPI 3.1 document, drawn from the same table as the Flask rules."""

from __future__ import annotations

from web.routes import Route
from web.schemas import SCHEMAS, TEXT, ref

PROBLEM = {"description": "a problem document", "content": {"application/problem+json": {"schema": ref("Problem")}}}


def _answer(status: int, media: str, schema: dict | None) -> dict:
    content = {} if not media else {"content": {media: {"schema": schema} if schema else {}}}
    return {"description": {200: "the answer", 201: "made", 303: "see there"}.get(status, "the answer"), **content}


def _parameters(route: Route) -> list[dict]:
    path = [{"name": name, "in": "path", "required": True, "schema": TEXT} for name in route.path_names]
    query = [
        {"name": q.name, "in": "query", "required": q.required, "schema": q.schema, "description": q.about}
        for q in route.query
    ]
    return path + query


def _operation(route: Route) -> dict:
    operation: dict = {
        "operationId": route.name,
        "summary": route.summary,
        "responses": {str(status): _answer(status, *answer) for status, answer in route.answers.items()},
    }
    operation["responses"]["default"] = PROBLEM
    if parameters := _parameters(route):
        operation["parameters"] = parameters
    if route.body:
        content = {media: {"schema": schema} for media, schema in route.body.items()}
        operation["requestBody"] = {"required": True, "content": content}
    if route.paired:
        operation["security"] = [{"bearer": []}, {"cookie": []}]
    return operation


def openapi_document(routes: list[Route], version: str) -> dict:
    """The document for `routes`; pages are left out, they are for people."""
    paths: dict[str, dict] = {}
    for route in routes:
        if route.path.startswith("/api/") or not any(media == "text/html" for media, _ in route.answers.values()):
            paths.setdefault(route.path, {})[route.method.lower()] = _operation(route)
    return {
        "openapi": "3.1.0",
        "info": {"title": "Tarebook", "version": version, "summary": "One service cart: readings, sessions, findings"},
        "paths": paths,
        "components": {
            "schemas": SCHEMAS,
            "securitySchemes": {
                "bearer": {"type": "http", "scheme": "bearer"},
                "cookie": {"type": "apiKey", "in": "cookie", "name": "tarebook_pairing"},
            },
        },
    }
