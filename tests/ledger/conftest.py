"""A journal for the tests of this folder: sealed entries from what each of them books."""

from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime
from uuid import UUID

import pytest
from baizebook.ledger.chain import with_hash
from baizebook.ledger.entry import GENESIS, Entry
from baizebook.ledger.posting import Leaf, Posting

Booked = tuple[str, date, tuple[Posting, ...]]


def sums_of_postings(entries: Iterable[Entry]) -> dict[tuple[Leaf, str], int]:
    """Return the sum of all postings by leaf and currency."""
    sums: dict[tuple[Leaf, str], int] = {}
    for entry in entries:
        for posting in entry.postings:
            key = posting.leaf, entry.currency
            sums[key] = sums.get(key, 0) + posting.amount_minor
    return sums


def _journal(booked: Iterable[Booked], currency: str = "USD", reference: str = "") -> list[Entry]:
    entries: list[Entry] = []
    for number, (kind, on, postings) in enumerate(booked, start=1):
        entries.append(
            with_hash(
                Entry(
                    id=str(UUID(int=number)),
                    number=number,
                    kind=kind,
                    on=on,
                    recorded_at=datetime(2026, 11, 2, 18, 30, tzinfo=UTC),
                    currency=currency,
                    postings=postings,
                    reference=reference,
                    previous_hash=entries[-1].hash if entries else GENESIS,
                )
            )
        )
    return entries


@pytest.fixture(scope="session")
def journal() -> Callable[..., list[Entry]]:
    return _journal
