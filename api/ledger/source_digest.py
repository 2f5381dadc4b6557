"""The digest of the stored facts that an entry books: a collection with its tables and settlement, or a reversal (L3).

Its canonical form, version 1, is stable for ever; a new form would get a new first line:

- the line ``baizebook source 1``, a line feed, then one JSON object in ASCII without white space, its keys sorted: each
  table's name, and a list of its rows in their order, each an object of column names and values;
- a column without a value (null, empty text, zero, false, an empty list or object) is left out, so that a column added
  later changes no digest as long as it is empty in old rows;
- ids are in lower case, dates ``YYYY-MM-DD``, instants UTC with six decimals of a second, true is ``1``.

The digest is SHA-256 of these bytes in lower-case hexadecimal. An entry's own hash covers it, so a change of any such
row shows for as long as the journal holds.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Literal
from uuid import UUID

SourceRow = Mapping[str, object]

_FORM = b"baizebook source 1\n"
_ENCODER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=True)


def canonical_source(facts: Mapping[str, Iterable[SourceRow]]) -> bytes:
    """Return the canonical form of stored rows by table; raise TypeError for a value that no column holds."""
    content = {
        table: [{name: _plain(value) for name, value in row.items() if value or type(value) is float} for row in rows]
        for table, rows in facts.items()
    }
    return _FORM + _ENCODER.encode(content).encode("ascii")


def source_digest(facts: Mapping[str, Iterable[SourceRow]]) -> str:
    """Return the digest of stored rows by table."""
    return hashlib.sha256(canonical_source(facts)).hexdigest()


DigestKind = Literal["agreement", "job_done", "retirement", "reversal"]
"""Records that bear money, by the table of their first row."""


def record_digest(facts: Mapping[str, Iterable[SourceRow]], *, before: str | None) -> str:
    """Return the digest of a record's stored rows by table, and of the digest kept before it (None: it is the first)."""
    return source_digest({"before": [{"digest": before or ""}], **facts})


def _plain(value: object) -> object:
    if type(value) is str or type(value) is int:  # most values
        return value
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {str(name): _plain(item) for name, item in value.items()}
    if value is None or isinstance(value, int | str):
        return value
    raise TypeError(f"expected the value of a column, found {value!r}")
