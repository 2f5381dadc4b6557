"""CSV as an answer, and the options that every operation with CSV has: ``decimal``, ``separator`` and ``bom``.

- ``CsvAnswer`` is what such an operation returns; ``baizebook.web.operation.Route`` reads the options of the address
  and writes the answer in that dialect. A bare value (``format=text``) takes ``decimal`` too.
- The options are documented in the contract wherever an operation answers ``text/csv``.
"""

from collections.abc import Mapping
from typing import Any

from fastapi import Request, Response

from ..pricing import Fault
from .csv_text import PLAIN, CsvText, Dialect, number_in
from .errors import Problem

CSV: dict[str, Any] = {"text/csv": {"schema": {"type": "string"}}}
"""The content of an answer that may be CSV, for the contract."""

_CHOICES: dict[str, tuple[str, ...]] = {
    "decimal": ("point", "comma"),
    "separator": ("comma", "semicolon"),
    "bom": ("0", "1"),
}
_DESCRIPTIONS = {
    "decimal": "With format=csv, or of one value: the decimal sign of amounts and numbers; a point by default.",
    "separator": "With format=csv: the sign between cells; a comma by default.",
    "bom": "With format=csv: 1 begins with a byte order mark, by which Excel knows UTF-8.",
}
_SCHEMAS = {
    **{name: {"type": "string", "enum": list(choices)} for name, choices in _CHOICES.items()},
    "bom": {"type": "integer", "minimum": 0, "maximum": 1},  # values of an enum would have no names
}
"""No default is stated: a generated client would send it, and an option is refused where there is no CSV."""
CSV_OPTIONS = frozenset(_CHOICES)
CSV_PARAMETERS = [
    {
        "name": name,
        "in": "query",
        "required": False,
        "description": _DESCRIPTIONS[name],
        "schema": _SCHEMAS[name],
    }
    for name in _CHOICES
]
"""The options as the contract shows them."""


class CsvAnswer(Response):
    """CSV with its cells at hand; with a ``name`` it is a file to keep."""

    media_type = "text/csv; header=present; charset=utf-8"

    def __init__(self, text: CsvText, *, name: str | None = None) -> None:
        self.text = text
        headers = {} if name is None else {"Content-Disposition": f'attachment; filename="{name}.csv"'}
        super().__init__(text.encode(), headers=headers)


def answers_csv(responses: Mapping[int | str, Mapping[str, Any]]) -> bool:
    """Tell whether an operation may answer with CSV, by what it says of its answers."""
    return "text/csv" in responses.get(200, {}).get("content", {})


def dialect_of(request: Request, *, usual: str) -> Dialect:
    """Return the dialect that an address asks for; refuse what is no option, and options of what is no CSV.

    ``usual`` is the format of an address that names none.
    """
    asked = {name: request.query_params[name] for name in _CHOICES if name in request.query_params}
    format_ = request.query_params.get("format", usual)
    faults = [
        Fault("invalid", f"query.{name}", value[:40], " or ".join(_CHOICES[name]))
        for name, value in asked.items()
        if value not in _CHOICES[name]
    ] or [
        Fault("invalid", f"query.{name}", "it without format=csv", "format=csv beside it")
        for name in asked
        if format_ != "csv" and (format_, name) != ("text", "decimal")
    ]
    if faults:
        raise Problem("invalid", errors=faults)
    return Dialect(
        decimal_comma=asked.get("decimal") == "comma",
        semicolon=asked.get("separator") == "semicolon",
        bom=asked.get("bom") == "1",
    )


def in_dialect(response: Response, dialect: Dialect) -> Response:
    """Return an answer in a dialect: CSV cell by cell, a bare value as one cell."""
    if dialect == PLAIN:
        return response
    if isinstance(response, CsvAnswer):
        written = response.text.written_as(dialect)
    elif response.status_code == 200 and response.headers["Content-Type"].startswith("text/plain"):
        written = str(number_in(bytes(response.body).decode(), dialect))
    else:
        return response
    response.body = written.encode()
    response.headers["Content-Length"] = str(len(response.body))
    return response
