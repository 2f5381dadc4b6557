"""The hash chain: every entry carries the hash of the one before it, so that a change after the fact shows (L3).

The canonical forms of an entry are stable for ever; a new form would get a new first line:

- the line ``baizebook entry 1``, a line feed, then one JSON object in ASCII without white space, its keys sorted,
  everything outside ASCII written as ``\\uXXXX``: the order in which keys arrive cannot matter;
- an entry that names a table has the first line ``baizebook entry 2`` and one key more, ``table_id``;
- an entry that books stored facts has the first line ``baizebook entry 3`` and the key ``source_digest``: the digest of
  the collection and settlement, or of the reversal (see ``source_digest``); ``table_id`` too where it names a table;
- an entry that names bags has the first line ``baizebook entry 4`` and the key ``bags``: the text of their list as it is
  stored (see ``bags``);
- the keys ``currency id kind number on postings previous_hash recorded_at reference source_id``, all always present;
- ``postings`` is a list, in the entry's order, of ``[account, venue id or null, minor units]``;
- ``on`` is ``YYYY-MM-DD``; ``recorded_at`` is UTC with six decimals of a second, ``2026-11-02T18:30:00.000000Z``;
- ids are in lower case; numbers and amounts are JSON integers; an absent source is ``null``.

``hash`` is SHA-256 of these bytes, in lower-case hexadecimal. The first entry names ``GENESIS`` as the one before it.
What the chain cannot show by itself is that its last entries were cut off: keep a hash elsewhere and look for it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from .entry import GENESIS, Entry

_FORM = b"baizebook entry 1\n"
_FORM_WITH_TABLE = b"baizebook entry 2\n"
_FORM_WITH_SOURCE = b"baizebook entry 3\n"
_FORM_WITH_BAGS = b"baizebook entry 4\n"

_FORMS = {"bags": _FORM_WITH_BAGS, "source_digest": _FORM_WITH_SOURCE, "table_id": _FORM_WITH_TABLE}
_OPTIONAL = frozenset(("hash", "table_id", "source_digest", "bags"))
_ENCODER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=True)
_KEYS = frozenset(
    ("currency", "id", "kind", "number", "on", "postings", "previous_hash", "recorded_at", "reference", "source_id")
)


Record = Mapping[str, object]
"""An entry as it is stored, in plain JSON values, ``hash`` included; it may have been tampered with."""


@dataclass(frozen=True, slots=True)
class BadEntry:
    """The first entry that does not fit: its place in the journal counted from 1, the number and id it shows, and why."""

    place: int
    number: object
    id: object
    why: str


def canonical_record(
    *,
    id: str,
    number: int,
    kind: str,
    on: date,
    recorded_at: datetime,
    currency: str,
    postings: Iterable[tuple[str, str | None, int]],
    reference: str,
    source_id: str | None,
    previous_hash: str,
    hash: str,
    table_id: str | None = None,
    source_digest: str | None = None,
    bags: str | None = None,
) -> dict[str, object]:
    """Return stored values as a record; nothing is checked, so that what was tampered with can be verified too."""
    return {
        "id": id,
        "number": number,
        "kind": kind,
        "on": on.isoformat(),
        "recorded_at": recorded_at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
        "currency": currency,
        "postings": [list(posting) for posting in postings],
        "reference": reference,
        "source_id": source_id,
        "previous_hash": previous_hash,
        "hash": hash,
        **({} if table_id is None else {"table_id": table_id}),
        **({} if source_digest is None else {"source_digest": source_digest}),
        **({} if bags is None else {"bags": bags}),
    }


def record_of(entry: Entry) -> dict[str, object]:
    """Return an entry as a record."""
    return canonical_record(
        id=entry.id,
        number=entry.number,
        kind=entry.kind,
        on=entry.on,
        recorded_at=entry.recorded_at,
        currency=entry.currency,
        postings=[(posting.account, posting.venue_id, posting.amount_minor) for posting in entry.postings],
        reference=entry.reference,
        source_id=entry.source_id,
        previous_hash=entry.previous_hash,
        hash=entry.hash,
        table_id=entry.table_id,
        source_digest=entry.source_digest,
        bags=entry.bags,
    )


def canonical(stored: Record) -> bytes:
    """Return the bytes that are hashed: the canonical form of a record without its own hash."""
    content = {key: value for key, value in stored.items() if key != "hash"}
    form = next((form for key, form in _FORMS.items() if key in content), _FORM)
    return form + _ENCODER.encode(content).encode("ascii")


def digest(stored: Record) -> str:
    """Return the SHA-256 of a record's canonical form in lower-case hexadecimal."""
    return hashlib.sha256(canonical(stored)).hexdigest()


def with_hash(entry: Entry) -> Entry:
    """Return the entry with its hash; its number and the hash of the one before it are already set."""
    return replace(entry, hash=digest(record_of(entry)))


def verify(stored: Iterable[Record]) -> BadEntry | None:
    """Return the first bad entry of a whole journal in order of number, or None where every entry fits.

    Reads one record at a time. A record is bad where its number does not follow, it does not name the hash of the
    one before it, a field is missing or added, or its content does not give its hash.
    """
    previous = GENESIS
    for place, entry in enumerate(stored, start=1):
        why = _misfit(entry, place, previous)
        if why:
            return BadEntry(place, entry.get("number"), entry.get("id"), why)
        previous = str(entry["hash"])
    return None


def _misfit(stored: Record, place: int, previous: str) -> str | None:
    if stored.keys() - _OPTIONAL != _KEYS:
        return "a field is missing or was added"
    if stored["number"] != place:
        return f"its number is not {place}, which follows"
    if stored["previous_hash"] != previous:
        return "it does not name the hash of the entry before it"
    try:
        found = digest(stored)
    except (TypeError, ValueError):
        return "it holds a value that no entry has"
    return None if stored.get("hash") == found else "its content does not give its hash"
