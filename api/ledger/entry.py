"""An entry of the journal.

- An entry has two or more postings in one currency, none of them zero, that sum to zero (L1).
- It concerns at most one venue.
- It names the entry before it by its hash (L3); ``chain`` seals and verifies.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from ..pricing.errors import DomainError, Fault
from ..pricing.money import exponent
from .entry_kinds import ENTRY_KINDS
from .posting import UUID_TEXT, Posting

GENESIS = "0" * 64
"""What the first entry names as the hash of the one before it (L3)."""


REFERENCE_CHARACTERS_MAX = 500
"""The longest reference, in characters."""
_HASH = re.compile(r"[0-9a-f]{64}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the journal. ``number`` counts from 1; ``on`` is the date it is booked for, ``recorded_at`` when.

    ``source_id`` is what it was made from: the collection, or the entry that a reversal takes back. ``table_id`` is the table that an
    expense, a licence or a sale is of. ``bags`` are the bags that a deposit or a write-off names, as ``bags_text`` writes them. ``hash`` is empty
    until ``chain.seal`` has set it. Refuses, all at once: an unknown kind, a bad id, number or hash, an instant
    without an offset, fewer than two postings, postings that do not sum to zero, more than one venue.
    """

    id: str
    number: int
    kind: str
    on: date
    recorded_at: datetime
    currency: str
    postings: tuple[Posting, ...]
    reference: str = ""
    source_id: str | None = None
    previous_hash: str = GENESIS
    hash: str = ""
    table_id: str | None = None
    source_digest: str | None = None
    bags: str | None = None

    def __post_init__(self) -> None:
        exponent(self.currency)
        faults = (*_faults_of_the_head(self), *_faults_of_the_postings(self.postings))
        if faults:
            raise DomainError(*faults)

    @property
    def venue_id(self) -> str | None:
        """The one venue that the entry concerns, or none."""
        return next((posting.venue_id for posting in self.postings if posting.venue_id), None)


def _faults_of_the_head(entry: Entry) -> Iterator[Fault]:
    if entry.kind not in ENTRY_KINDS:
        yield Fault("unknown_kind", "kind", repr(entry.kind), f"one of {', '.join(ENTRY_KINDS)}")
    for name, value in (("id", entry.id), ("source_id", entry.source_id), ("table_id", entry.table_id)):
        if value is not None and not UUID_TEXT.fullmatch(value):
            yield Fault("bad_id", name, repr(value), "a UUID in lower case")
    if entry.number < 1:
        yield Fault("bad_number", "number", str(entry.number), "1 or more")
    if entry.recorded_at.utcoffset() is None:
        yield Fault("naive_instant", "recorded_at", entry.recorded_at.isoformat(), "an instant with an offset")
    if len(entry.reference) > REFERENCE_CHARACTERS_MAX:
        yield Fault(
            "reference_too_long",
            "reference",
            f"{len(entry.reference)} characters",
            f"at most {REFERENCE_CHARACTERS_MAX}",
        )
    for name, value in (
        ("previous_hash", entry.previous_hash),
        ("hash", entry.hash or GENESIS),
        ("source_digest", entry.source_digest or GENESIS),
    ):
        if not _HASH.fullmatch(value):
            yield Fault("bad_hash", name, repr(value), "64 hexadecimal digits")


def _faults_of_the_postings(postings: tuple[Posting, ...]) -> Iterator[Fault]:
    if len(postings) < 2:
        yield Fault("too_few_postings", "postings", str(len(postings)), "two or more")
    total = sum(posting.amount_minor for posting in postings)
    if total != 0:
        yield Fault("unbalanced_entry", "postings", f"a sum of {total} minor units", "postings that sum to 0")
    venues = {posting.venue_id for posting in postings if posting.venue_id}
    if len(venues) > 1:
        yield Fault("several_venues", "postings", ", ".join(sorted(venues)), "at most one venue")
