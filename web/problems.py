"""Errors as problem documents (RFC 9457) for programs, as a short page for people."""

from __future__ import annotations

from flask import Flask, Response, json, render_template, request
from werkzeug.exceptions import HTTPException


class Problem(Exception):
    """A request that cannot be served: `status`, a `title`, and a `detail` that says how to mend it.

    fields: for each field of the request that is wrong, one line; goes into the document as `errors`.
    """

    def __init__(
        self,
        status: int,
        title: str,
        detail: str,
        headers: dict[str, str] | None = None,
        fields: dict[str, str] | None = None,
    ):
        super().__init__(detail)
        self.status, self.title, self.detail, self.headers = status, title, detail, headers or {}
        self.fields = fields or {}


def problem_response(problem: Problem) -> Response:
    body = {
        "type": "about:blank",
        "title": problem.title,
        "status": problem.status,
        "detail": problem.detail,
        "instance": request.path,
    }
    if problem.fields:
        body["errors"] = [{"field": field, "detail": detail} for field, detail in problem.fields.items()]
    response = Response(json.dumps(body), problem.status, mimetype="application/problem+json")
    response.headers.extend(problem.headers)
    return response


def wants_page() -> bool:
    """Whether a person's browser asked, rather than a program."""
    if request.path.startswith("/api/") and request.method == "GET":
        return False
    return request.accept_mimetypes.best_match(["application/json", "text/html"]) == "text/html"


def _answer(problem: Problem) -> Response:
    if not wants_page():
        return problem_response(problem)
    response = Response(render_template("problem.html", problem=problem), problem.status)
    response.headers.extend(problem.headers)
    return response


def _from_http(error: HTTPException) -> Response:
    answer = _answer(Problem(error.code or 500, error.name, error.description or error.name))
    for name, value in error.get_headers():
        if name not in ("Content-Type", "Content-Length"):
            answer.headers[name] = value
    return answer


def install_problems(app: Flask) -> None:
    """Every error leaves `app` as a problem, none as a traceback."""

    def unexpected(error: Exception) -> Response:
        app.logger.exception("request failed: %r", request.path)
        return _answer(Problem(500, "Internal error", "the cart could not answer this; its log says why"))

    app.register_error_handler(Problem, _answer)
    app.register_error_handler(HTTPException, _from_http)
    app.register_error_handler(Exception, unexpected)
