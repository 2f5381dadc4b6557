"""The digest of the stored facts that an entry books (L3)."""

import hashlib
from datetime import UTC, date, datetime, timedelta, timezone
from uuid import UUID

import pytest
from baizebook.ledger.chain import canonical, digest, record_of, verify, with_hash
from baizebook.ledger.entry import Entry
from baizebook.ledger.entry_kinds import owner_postings
from baizebook.ledger.source_digest import canonical_source, source_digest

ROW = {
    "id": UUID(int=0xABC),
    "trading_on": date(2026, 11, 2),
    "collected_at": datetime(2026, 11, 2, 18, 30, tzinfo=UTC),
    "counted_minor": 31100,
    "is_figure": True,
    "is_late": False,
    "tax_area": None,
    "bag": "",
    "house_money_minor": 0,
    "lines": [{"what": "Café", "amount_minor": 5}],
    "advice": [],
}
WRITTEN = (
    b'baizebook source 1\n{"collection":[{"collected_at":"2026-11-02T18:30:00.000000Z","counted_minor":31100,'
    b'"id":"00000000-0000-0000-0000-000000000abc","is_figure":1,"lines":[{"amount_minor":5,"what":"Caf\\u00e9"}],'
    b'"trading_on":"2026-11-02"}],"reversal":[]}'
)


def test_the_canonical_form_is_what_the_documentation_says() -> None:
    assert canonical_source({"reversal": [], "collection": [ROW]}) == WRITTEN
    assert source_digest({"collection": [ROW], "reversal": []}) == hashlib.sha256(WRITTEN).hexdigest()


def test_the_same_instant_and_an_empty_column_added_later_change_nothing() -> None:
    elsewhere = ROW["collected_at"].astimezone(timezone(timedelta(hours=-6)))  # type: ignore[attr-defined]
    later = {**ROW, "collected_at": elsewhere, "added_later": None, "added_too": 0}
    assert source_digest({"collection": [later]}) == source_digest({"collection": [ROW]})


@pytest.mark.parametrize(
    "change",
    [
        {"counted_minor": 31101},
        {"counted_minor": "31100"},
        {"counted_minor": 0},
        {"house_money_minor": 1},
        {"is_late": True},
        {"is_figure": 3},
        {"bag": "7"},
        {"tax_area": "five"},
        {"lines": [{"what": "Café", "amount_minor": 6}]},
        {"lines": []},
        {"advice": [{}]},
    ],
    ids=str,
)
def test_any_other_value_changes_the_digest(change: dict[str, object]) -> None:
    assert source_digest({"collection": [{**ROW, **change}]}) != source_digest({"collection": [ROW]})


def test_a_row_more_or_less_or_elsewhere_changes_the_digest() -> None:
    digests = [
        source_digest(facts)
        for facts in (
            {"collection": [ROW]},
            {"collection": []},
            {"collection": [ROW, ROW]},
            {"settlement": [ROW]},
            {"collection": [ROW], "settlement": []},
        )
    ]
    assert len(set(digests)) == len(digests)


def test_a_value_that_no_column_holds_has_no_digest() -> None:
    for value in (0.0, 1.5, b"x", {1}):
        with pytest.raises(TypeError):
            source_digest({"collection": [{"counted_minor": value}]})


def booking() -> Entry:
    return Entry(
        id=str(UUID(int=1)),
        number=1,
        kind="deposit",
        on=date(2026, 11, 2),
        recorded_at=datetime(2026, 11, 2, 18, 30, tzinfo=UTC),
        currency="USD",
        postings=owner_postings(kind="deposit", amount_minor=1000),
        source_digest="ab" * 32,
    )


def test_an_entry_that_books_facts_covers_their_digest() -> None:
    entry = with_hash(booking())
    stored = record_of(entry)
    assert canonical(stored).startswith(b"baizebook entry 3\n")
    assert b'"source_digest":"' + b"ab" * 32 + b'"' in canonical(stored)
    assert verify([stored]) is None
    for change in ({"source_digest": "ab" * 31 + "ac"}, {"source_digest": None}):
        assert verify([{**stored, **change}]) is not None
    without = {key: value for key, value in stored.items() if key != "source_digest"}
    assert verify([without]) is not None
    assert digest(without) != entry.hash
