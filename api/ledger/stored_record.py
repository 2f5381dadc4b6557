"""The stored columns of an entry as the record that the chain verifies, unchecked.

- After tampering, a row may be no valid entry: this module checks and refuses nothing.
- A posting whose place is not its turn keeps the place in the record, so that the hash differs.
- Either a database gives ids, dates and instants as values, or, as SQLite stores them, as text: the digits of an id,
  and UTC with a space in the middle and no Z.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from uuid import UUID

from .chain import Record

_WRITTEN_OTHERWISE = ("booked_on", "pool_table_id", "source_digest", "bags")


def stored_record(entry: Mapping[str, object], postings: Iterable[tuple[object, object, object, object]]) -> Record:
    """Return a stored entry as a record; ``postings`` are account, venue's id, minor units and place, by place."""
    table_id = _id_text(entry["pool_table_id"])
    return {
        **{name: value for name, value in entry.items() if name not in _WRITTEN_OTHERWISE},
        **({} if table_id is None else {"table_id": table_id}),
        **({} if entry["source_digest"] is None else {"source_digest": entry["source_digest"]}),
        **({} if entry["bags"] is None else {"bags": entry["bags"]}),
        "id": _id_text(entry["id"]),
        "on": _date_text(entry["booked_on"]),
        "recorded_at": instant_text(entry["recorded_at"]),
        "source_id": _id_text(entry["source_id"]),
        "postings": [
            [account, _id_text(venue_id), amount, *([] if place == turn else [place])]
            for turn, (account, venue_id, amount, place) in enumerate(postings)
        ],
    }


def _id_text(stored: object) -> object:
    digits = stored.hex if isinstance(stored, UUID) else stored
    if not isinstance(digits, str):
        return digits
    return f"{digits[:8]}-{digits[8:12]}-{digits[12:16]}-{digits[16:20]}-{digits[20:]}"


def _date_text(stored: object) -> object:
    return stored.isoformat() if isinstance(stored, date) else stored


def instant_text(stored: object) -> object:
    """Return a stored instant in the form of the chain; text that is not in SQLite's form as it is."""
    if isinstance(stored, datetime):
        return stored.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    return f"{stored[:10]}T{stored[11:]}Z" if isinstance(stored, str) and stored[10:11] == " " else stored
