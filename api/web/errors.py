"""Problems: the answers to refused requests (RFC 9457, application/problem+json).

- Every refusal has a code, and every code stands in ``PROBLEMS`` with its status, title and explanation; the ``type``
  of an answer is ``/problems/<code>``, a page that says what to do.
- ``errors`` names each mistake: where it is, what was found there, what was expected.
- What a client sent is never echoed beyond a short, printable extract, and a token not at all.
- How they are answered over HTTP is in ``baizebook.web.error_answers``; here is nothing of the framework.
"""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any, Protocol, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field

from ..pricing.errors import DomainError, Fault
from .csv_text import one_line
from .problems import PROBLEMS
from .redaction import without_tokens
from .schema_types import PATTERNS_IN_WORDS

ERRORS_MAX = 100
_TEXT_LENGTH_MAX = 1000
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
    told = (_short(without_tokens(text)) for text in (fault.where or "body", fault.found, fault.expected))
    return ErrorOut(**dict(zip(("where", "found", "expected"), told, strict=True)))


def _short(text: str) -> str:
    return text if len(text) <= _TEXT_LENGTH_MAX else f"{text[: _TEXT_LENGTH_MAX - 1]}…"


class _Result(Protocol):
    @property
    def problem(self) -> ProblemOut | None: ...

    def model_copy(self, *, update: Mapping[str, Any]) -> Self: ...


_R = TypeVar("_R", bound=_Result)


def bound_errors(results: Iterable[_R]) -> list[_R]:
    """Return results with their first 100 mistakes; of later ones only the number."""
    kept = list(results)
    problems = bound_problems(result.problem for result in kept)
    return [
        result if result.problem is problem else result.model_copy(update={"problem": problem})
        for result, problem in zip(kept, problems, strict=True)
    ]


def bound_problems(problems: Iterable["ProblemOut | None"]) -> list["ProblemOut | None"]:
    """Return the problems of one answer's results, None for a result without one, bounded in the same way."""
    left = ERRORS_MAX
    bounded = []
    for problem in problems:
        found = 0 if problem is None else max(1, len(problem.errors))
        if problem is not None and (len(problem.errors) > left or (left == 0 and problem.detail != problem.title)):
            more = problem.more_errors + len(problem.errors) - left
            problem = problem.model_copy(
                update={"errors": problem.errors[:left], "more_errors": more, "detail": problem.title}
            )
        bounded.append(problem)
        left -= min(left, found)
    return bounded


@lru_cache(1024)
def uncounted_out(errors: int) -> ProblemOut:
    """Write a problem of which nothing is said but its number of mistakes: past the first 100 of an answer."""
    return problem_out(Problem("invalid", more_errors=errors))


READ_AS_TEXT = (".html", ".svg", ".ics")
"""How the addresses of pages, pictures and calendars end."""


def refusal_in_words(problem: ProblemOut) -> str:
    """Write a refusal on one line, for a cell: its title, then what was found and expected where."""
    errors = [f"{error.where}: found {error.found}, expected {error.expected}" for error in problem.errors]
    why = "; ".join(errors) or (problem.detail if problem.detail != problem.title else "")
    return one_line(": ".join(filter(None, [problem.title, why])))


def _show(value: Any) -> str:
    """Quote the value at fault in a few printable characters."""
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
            expected = PATTERNS_IN_WORDS.get(limits.get("pattern")) or re.sub(r"\b(1 \w+)s$", r"\1", words)
        found, expected = _IN_WORDS.get(error["type"], (_show(error.get("input")), expected))
        faults.append(Fault("invalid", _place(error["loc"]), found, expected))
    return Problem("invalid", errors=faults, more_errors=max(0, len(errors) - ERRORS_MAX))
