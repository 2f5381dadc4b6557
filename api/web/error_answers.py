"""Answers to what was refused or raised: each is a problem (see ``baizebook.web.errors``).

- Whoever asks with ``format=csv`` or ``format=text``, or for a page, picture or calendar, gets a refusal as one line of
  text: a cell shows it, a person reads it.
- Nothing that a client can send makes a 500.
"""

import html
import json
from collections.abc import Iterable
from typing import cast

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, PlainTextResponse
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import BaseRoute, Route

from ..pricing.errors import DomainError
from .errors import READ_AS_TEXT, Problem, from_validation, not_found, problem_out, refusal_in_words
from .problems import PROBLEMS


def problem_response(problem: Problem | DomainError, request: Request) -> Response:
    """Answer with a problem: as one line of text where the request asked for CSV, text, a page, picture or calendar."""
    body = problem_out(problem)
    headers = problem.headers if isinstance(problem, Problem) else None
    if _reads_text(request):
        return PlainTextResponse(refusal_in_words(body), body.status, headers)
    return Response(json.dumps(body.model_dump()), body.status, headers, media_type="application/problem+json")


def _reads_text(request: Request) -> bool:
    """Tell whether a cell or a person reads the answer: CSV, one value, a page, a picture, a calendar."""
    return request.query_params.get("format") in ("csv", "text") or request.url.path.endswith(READ_AS_TEXT)


def _on_validation(request: Request, error: Exception) -> Response:
    return problem_response(from_validation(cast(RequestValidationError, error).errors()), request)


def _on_problem(request: Request, error: Exception) -> Response:
    return problem_response(cast(Problem | DomainError, error), request)


def methods_of(routes: Iterable[BaseRoute]) -> dict[str, frozenset[str]]:
    """Return the methods that each address offers, over all the routes that share it."""
    methods: dict[str, frozenset[str]] = {}
    for route in routes:
        if isinstance(route, Route):
            methods[route.path] = methods.get(route.path, frozenset()) | (route.methods or frozenset())
    return methods


def not_offered(request: Request, methods: frozenset[str]) -> Problem:
    """Build the problem of a method that an address does not offer: ``Allow`` names all it does (RFC 9110, 15.5.6)."""
    allow = methods | ({"HEAD"} if "GET" in methods else frozenset())
    detail = f"{request.method} is not offered here."
    return Problem("method_not_allowed", detail, headers={"Allow": ", ".join(sorted(allow))})


def _on_405(request: Request, error: Exception) -> Response:
    """Name all methods of the address; the framework knows only those of the first route that it found."""
    methods = request.app.state.methods
    route = request.scope.get("route")
    found = methods.get(request.url.path) or methods.get(getattr(route, "path", ""))
    if found is None:
        return _on_http(request, error)
    return problem_response(not_offered(request, found), request)


_BY_STATUS = {405: "method_not_allowed", 400: "malformed", 404: "not_found", 413: "too_large"}


def _on_http(request: Request, error: Exception) -> Response:
    refusal = cast(HTTPException, error)
    code = _BY_STATUS.get(refusal.status_code, "malformed" if refusal.status_code < 500 else "unavailable")
    return problem_response(Problem(code, headers=dict(refusal.headers or {})), request)


def _on_disconnect(request: Request, error: Exception) -> Response:  # noqa: ARG001
    """Whoever hung up before the message was whole is answered for the record only."""
    return problem_response(Problem("malformed"), request)


def _on_database(request: Request, error: Exception) -> Response:
    """A conflict another caller won is a 409; a database that is busy, full or away is a 503 to try again."""
    if isinstance(error, IntegrityError):
        return problem_response(Problem("conflict", "Another request changed the data meanwhile."), request)
    if isinstance(error, PoolTimeout) or _passing(error):
        return problem_response(Problem("unavailable", headers={"Retry-After": "1"}), request)
    raise error


def _passing(error: Exception) -> bool:
    """Tell whether a database error is of the kind that passes: locked, full, restarting, out of time."""
    if not isinstance(error, DBAPIError):
        return False
    if error.connection_invalidated:
        return True
    state = getattr(error.orig, "sqlstate", None)
    if state is not None:
        return str(state)[:2] in ("08", "40", "53", "55", "57")
    words = str(error.orig).lower()
    return any(word in words for word in ("locked", "busy", "full", "disk i/o", "unable to open", "connection"))


def problem_page(code: str) -> HTMLResponse:
    """Return the page that explains a problem; raise ``not_found`` for a code that is none."""
    kind = PROBLEMS.get(code)
    if kind is None:
        raise not_found("problem")
    title, text = html.escape(kind.title), html.escape(kind.meaning)
    return HTMLResponse(
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        "<style>body{font:1.1rem/1.6 system-ui,sans-serif;max-width:40rem;margin:3rem auto;padding:0 1rem;"
        "color:#1c2b24}code{background:#e8f0ec;padding:.1em .3em;border-radius:.2em}</style></head>"
        f"<body><main><h1>{title}</h1><p><code>{html.escape(code)}</code>, status {kind.status}</p><p>{text}</p></main></body></html>"
    )


def install(app: FastAPI) -> None:
    """Make the application answer every refusal as a problem."""
    app.add_exception_handler(Problem, _on_problem)
    app.add_exception_handler(DomainError, _on_problem)
    app.add_exception_handler(RequestValidationError, _on_validation)
    app.add_exception_handler(HTTPException, _on_http)
    app.add_exception_handler(405, _on_405)
    app.add_exception_handler(ClientDisconnect, _on_disconnect)
    app.add_exception_handler(DBAPIError, _on_database)
    app.add_exception_handler(PoolTimeout, _on_database)
