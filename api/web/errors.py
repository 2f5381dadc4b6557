"""Problems: what a caller is told when something is refused (RFC 9457, application/problem+json).

- Every refusal has a code, and every code stands in ``PROBLEMS`` with its status, title and explanation; the ``type``
  of an answer is ``/problems/<code>``, a page that says what to do.
- ``errors`` names each mistake: where it is, what was found there, what was expected.
- Whoever asks with ``format=csv`` or ``format=text``, or for a page, picture or calendar, gets a refusal as one line of
  text: a cell shows it, a person reads it.
- Nothing that a client can send makes a 500; what a client sent is never echoed beyond a short, printable extract,
  and a token not at all.
"""

import html
import json
import re
from collections.abc import Iterable, Sequence
from typing import Any, cast

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, PlainTextResponse
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import BaseRoute, Route

from ..pricing.errors import DomainError, Fault
from .csv_text import one_line
from .problems import PROBLEMS
from .redaction import without_tokens
from .schema_types import IN_WORDS

ERRORS_MAX = 100
_DETAIL_LENGTH_MAX = 1000


class Problem(Exception):
    """A refusal: its code decides status and title; ``errors`` say where, what was found, what was expected."""

    def __init__(
        self,
        code: str,
        detail: str = "",
        *,
        errors: Sequence[Fault] = (),
        more_errors: int = 0,
        headers: dict[str, str] | None = None,
    ) -> None:
        self.code = code
        self.kind = PROBLEMS[code]
        self.detail = detail or self.kind.title
        self.errors = tuple(errors)
        self.more_errors = more_errors
        self.headers = dict(headers or {})
        super().__init__(f"{code}: {self.detail}")


def http_problem(code: str, *, where: str, found: object, expected: str, detail: str = "") -> Problem:
    """Build the problem of a single mistake; the caller raises it."""
    return Problem(code, detail, errors=[Fault(code, where, str(found), expected)])


def not_found(what: str) -> Problem:
    """Build the answer for what is absent or not the caller's to see: the two read the same."""
    return Problem("not_found", f"{what[:1].upper()}{what[1:]} not found.")


class ErrorOut(BaseModel):
    """One mistake."""

    model_config = ConfigDict(extra="forbid")

    where: str
    found: str
    expected: str


class ProblemOut(BaseModel):
    """A refusal, as RFC 9457 writes it."""

    model_config = ConfigDict(extra="forbid")

    type: str = Field(description="The address of the page that explains the problem: `/problems/` and its code.")
    title: str
    code: str = Field(description="An open list: a later version may send codes that this contract does not name.")
    status: int
    detail: str
    errors: list[ErrorOut] = Field(description="The first 100 mistakes.")
    more_errors: int = Field(description="The number of mistakes beyond those listed.")


def problem_out(problem: Problem | DomainError) -> ProblemOut:
    """Write a problem, or what the engine refused, as its message; a token put where none belongs is blotted out.

    Raises KeyError for a code that is not in the catalogue: that is a mistake of ours, never the caller's.
    """
    kind = PROBLEMS[problem.code]
    if isinstance(problem, DomainError):
        detail, faults, more = str(problem), problem.faults, 0
    else:
        detail, faults, more = problem.detail, problem.errors, problem.more_errors
    return ProblemOut(
        type=f"/problems/{problem.code}",
        title=kind.title,
        code=problem.code,
        status=kind.status,
        detail=without_tokens(detail)[:_DETAIL_LENGTH_MAX],
        errors=[_error_out(fault) for fault in faults[:ERRORS_MAX]],
        more_errors=max(0, len(faults) - ERRORS_MAX) + more,
    )


def _error_out(fault: Fault) -> ErrorOut:
    told = (without_tokens(text) for text in (fault.where or "body", fault.found, fault.expected))
    return ErrorOut(**dict(zip(("where", "found", "expected"), told, strict=True)))


def problem_response(problem: Problem | DomainError, request: Request) -> Response:
    """Answer with a problem: as one line of text where the request asked for CSV, text, a page, picture or calendar."""
    body = problem_out(problem)
    headers = problem.headers if isinstance(problem, Problem) else None
    if _reads_text(request):
        return PlainTextResponse(refusal_in_words(body), body.status, headers)
    return Response(json.dumps(body.model_dump()), body.status, headers, media_type="application/problem+json")


READ_AS_TEXT = (".html", ".svg", ".ics")
"""How the addresses of pages, pictures and calendars end."""


def _reads_text(request: Request) -> bool:
    """Tell whether a cell or a person reads the answer: CSV, one value, a page, a picture, a calendar."""
    return request.query_params.get("format") in ("csv", "text") or request.url.path.endswith(READ_AS_TEXT)


def refusal_in_words(problem: ProblemOut) -> str:
    """Write a refusal on one line, for a cell: its title, then what was found and expected where."""
    errors = [f"{error.where}: found {error.found}, expected {error.expected}" for error in problem.errors]
    why = "; ".join(errors) or (problem.detail if problem.detail != problem.title else "")
    return one_line(": ".join(filter(None, [problem.title, why])))


def _show(value: Any) -> str:
    """Say in a few printable characters what stood where a mistake was found."""
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list | tuple | set):
        return f"a list of {len(value)}"
    if isinstance(value, bytes):
        return f"{len(value)} bytes"
    text = json.dumps(value, default=str)
    return text if len(text) <= 80 else text[:77] + "…"


def _place(location: Sequence[str | int]) -> str:
    place = ""
    for part in location[1:] if location and location[0] == "body" else location:
        if part == "[key]":  # a name is at fault, and stands in the place already
            continue
        place += f"[{part}]" if isinstance(part, int) else f".{part}" if place else str(part)
    return place or "body"


_IN_WORDS = {
    "missing": ("nothing", "a value"),
    "extra_forbidden": ("a field that does not exist here", "no such field"),
}


_WANTED = {
    "bool_parsing": "true or false",
    "bool_type": "true or false",
    "dict_type": "an object",
    "greater_than_equal": "at least {ge}",
    "int_from_float": "a whole number",
    "int_parsing": "a whole number",
    "int_type": "a whole number",
    "less_than_equal": "at most {le}",
    "list_type": "a list",
    "model_attributes_type": "an object",
    "model_type": "an object",
    "string_pattern_mismatch": "text of the form {pattern}",
    "string_too_long": "at most {max_length} characters",
    "string_too_short": "at least {min_length} characters",
    "string_type": "text",
    "too_long": "at most {max_length} items",
    "too_short": "at least {min_length} items",
}
"""What is expected where a message type refuses, in the words of all other problems; limits are filled in."""


def from_validation(errors: Sequence[Any]) -> Problem:
    """Turn what the message types refused into a problem; of ``ctx`` nothing but our own limits is shown."""
    faults = []
    for error in errors[:ERRORS_MAX]:
        limits = error.get("ctx", {})
        expected = error["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
        if error["type"] in _WANTED:
            words = _WANTED[error["type"]].format(**limits)
            expected = IN_WORDS.get(limits.get("pattern")) or re.sub(r"\b(1 \w+)s$", r"\1", words)
        found, expected = _IN_WORDS.get(error["type"], (_show(error.get("input")), expected))
        faults.append(Fault("invalid", _place(error["loc"]), found, expected))
    return Problem("invalid", errors=faults, more_errors=max(0, len(errors) - ERRORS_MAX))


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
        f"<body><h1>{title}</h1><p><code>{html.escape(code)}</code>, status {kind.status}</p><p>{text}</p></body></html>"
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
