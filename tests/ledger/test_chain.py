"""The chain finds what was changed after the fact (L3)."""

import hashlib
import json
import random
from datetime import UTC, date, datetime, timedelta, timezone
from uuid import UUID

import pytest
from baizebook.ledger.chain import BadEntry, canonical, digest, record_of, verify, with_hash
from baizebook.ledger.entry import GENESIS, Entry
from baizebook.ledger.entry_kinds import collection_postings, owner_postings
from hypothesis import given
from hypothesis import strategies as st

CORNER = "0198c0de-0000-7000-8000-00000000c0de"
MONDAY = date(2026, 11, 2)


@pytest.fixture(scope="module")
def stored(journal):
    split = collection_postings(
        venue_id=CORNER,
        counted_minor=31100,
        venue_share_minor=15550,
        to_venue_now_minor=0,
        to_venue_balance_minor=15550,
    )
    booked = [
        ("opening", MONDAY, owner_postings(kind="opening", amount_minor=100000)),
        ("collection", MONDAY, split),
        ("venue_payment", MONDAY, owner_postings(kind="venue_payment", amount_minor=15550, venue_id=CORNER)),
        ("deposit", MONDAY, owner_postings(kind="deposit", amount_minor=31100)),
    ]
    return [record_of(entry) for entry in journal(booked, reference="Café №7")]


def first() -> Entry:
    return with_hash(
        Entry(
            id=str(UUID(int=1)),
            number=1,
            kind="deposit",
            on=MONDAY,
            recorded_at=datetime(2026, 11, 2, 18, 30, tzinfo=UTC),
            currency="USD",
            postings=owner_postings(kind="deposit", amount_minor=1000),
            reference="slip é",
        )
    )


def test_the_canonical_form_is_what_the_documentation_says():
    written = (
        b'baizebook entry 1\n{"currency":"USD","id":"00000000-0000-0000-0000-000000000001","kind":"deposit",'
        b'"number":1,"on":"2026-11-02","postings":[["bank",null,1000],["cash_in_bags",null,-1000]],'
        b'"previous_hash":"0000000000000000000000000000000000000000000000000000000000000000",'
        b'"recorded_at":"2026-11-02T18:30:00.000000Z","reference":"slip \\u00e9","source_id":null}'
    )
    assert canonical(record_of(first())) == written
    assert first().hash == hashlib.sha256(written).hexdigest()


def test_the_hash_of_an_entry_never_changes_from_release_to_release():
    assert first().hash == "ec47919fb3f226e36a226dbe13cdc3792112cb699e8d3326da95e1700f2d5c0c"


def test_the_order_of_keys_and_a_trip_through_json_do_not_matter(stored):
    shuffled = list(stored[1].items())
    random.Random(7).shuffle(shuffled)
    assert digest(json.loads(json.dumps(dict(shuffled), ensure_ascii=False))) == stored[1]["hash"]


def test_the_same_instant_in_another_zone_is_the_same_entry():
    entry = first()
    elsewhere = entry.recorded_at.astimezone(timezone(timedelta(hours=-6)))
    assert digest({**record_of(entry), **record_of(moved(entry, elsewhere))}) == entry.hash


def moved(entry: Entry, recorded_at: datetime) -> Entry:
    return Entry(**{**{name: getattr(entry, name) for name in Entry.__slots__}, "recorded_at": recorded_at})


def test_a_journal_that_nobody_touched_verifies(stored):
    assert verify([]) is None
    assert verify(stored) is None
    assert stored[0]["previous_hash"] == GENESIS


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (lambda rows: rows.pop(1), 2),
        (lambda rows: rows.pop(0), 1),
        (lambda rows: rows.insert(2, rows[2]), 4),
        (lambda rows: rows.reverse(), 1),
        (lambda rows: rows[2].update(reference=None), 3),
        (lambda rows: rows[2].update(number=True), 3),
        (lambda rows: rows[0].update(number=1.0), 1),
        (lambda rows: rows[2].update(kind=b"venue_payment"), 3),
        (lambda rows: rows[2].pop("source_id"), 3),
        (lambda rows: rows[2].pop("hash"), 3),
        (lambda rows: rows[2].update(seen=True), 3),
        (lambda rows: rows[3].update(hash="0" * 64), 4),
        (lambda rows: rows[1]["postings"].reverse(), 2),
        (lambda rows: rows[1]["postings"].pop(), 2),
    ],
)
def test_rows_removed_doubled_turned_round_or_retyped_are_found(stored, change, place):
    rows = json.loads(json.dumps(stored))
    change(rows)
    bad = verify(rows)
    assert isinstance(bad, BadEntry)
    assert bad.place == place


def test_an_entry_sealed_again_after_a_change_breaks_the_next_one(stored):
    rows = json.loads(json.dumps(stored))
    rows[1]["postings"][0][2] += 1
    rows[1]["postings"][1][2] -= 1
    rows[1]["hash"] = digest(rows[1])
    assert verify(rows) == BadEntry(3, 3, stored[2]["id"], "it does not name the hash of the entry before it")


FIELDS = ("currency", "hash", "id", "kind", "on", "previous_hash", "recorded_at", "reference")


@given(st.data())
def test_any_one_byte_changed_in_any_field_is_found(stored, data):
    rows = json.loads(json.dumps(stored))
    place = data.draw(st.integers(min_value=0, max_value=len(rows) - 1))
    text, holder, key = pick(rows[place], data)
    raw = bytearray(str(text).encode())
    at = data.draw(st.integers(min_value=0, max_value=len(raw) - 1))
    raw[at] ^= 1 << data.draw(st.integers(min_value=0, max_value=7))
    changed = raw.decode("utf-8", "surrogateescape")
    holder[key] = int(changed) if isinstance(text, int) and changed.isascii() and changed.isdecimal() else changed
    bad = verify(rows)
    assert bad is not None
    assert bad.place == place + 1


def pick(row, data):
    """Return a field's value, and where to put the changed one: a text, the number, or a cell of a posting."""
    if data.draw(st.booleans()):
        posting = data.draw(st.sampled_from(row["postings"]))
        column = data.draw(st.sampled_from([0, 1, 2] if posting[1] else [0, 2]))
        return posting[column], posting, column
    name = data.draw(st.sampled_from([*FIELDS, "number"]))
    return row[name], row, name


def test_an_entry_that_names_a_table_has_a_form_of_its_own_and_the_table_is_sealed_with_it():
    entry = with_hash(
        Entry(
            id=str(UUID(int=1)),
            number=1,
            kind="expense",
            on=MONDAY,
            recorded_at=datetime(2026, 11, 2, 18, 30, tzinfo=UTC),
            currency="USD",
            postings=owner_postings(kind="expense", amount_minor=1850, account="parts"),
            table_id=CORNER,
        )
    )
    stored = record_of(entry)
    assert canonical(stored) == (
        b'baizebook entry 2\n{"currency":"USD","id":"00000000-0000-0000-0000-000000000001","kind":"expense",'
        b'"number":1,"on":"2026-11-02","postings":[["parts",null,1850],["bank",null,-1850]],'
        b'"previous_hash":"0000000000000000000000000000000000000000000000000000000000000000",'
        b'"recorded_at":"2026-11-02T18:30:00.000000Z","reference":"","source_id":null,'
        b'"table_id":"0198c0de-0000-7000-8000-00000000c0de"}'
    )
    assert verify([stored]) is None
    without = {key: value for key, value in stored.items() if key != "table_id"}
    for tampered in (without, {**stored, "table_id": str(UUID(int=3))}, {**stored, "table_id": None}):
        assert verify([tampered]) == BadEntry(1, 1, entry.id, "its content does not give its hash")
    plain = record_of(first())
    assert verify([{**plain, "table_id": CORNER}]) == BadEntry(1, 1, plain["id"], "its content does not give its hash")
