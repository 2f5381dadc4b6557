"""A change after the fact shows: with the triggers out of the way, the check names the first bad entry (L3)."""

import tracemalloc
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from baizebook.ledger.chain import with_hash
from baizebook.ledger.entry import GENESIS, Entry
from baizebook.ledger.entry_kinds import owner_postings
from baizebook.ledger.queries import check_ledger
from baizebook.ledger.rows import EntryRow, PostingRow
from baizebook.ledger.service import post_entry
from baizebook.store.db import reading, writing
from fastapi.testclient import TestClient
from sqlalchemy import Engine, insert, text

from tests.conftest import Route, Run

NOTHING_ALTERED: dict[str, Any] = {
    "records": 0,
    "last_record_digest": None,
    "altered_entries": [],
    "altered_collections": [],
    "altered_records": [],
}


@pytest.fixture
def books(engine: Engine, route: Route) -> Engine:
    """Six entries of a venue, and a database that lets its rows be changed."""
    corner = route.venue()["id"]
    with writing(engine) as session:
        for day in range(1, 7):
            post_entry(
                session,
                kind="loan_advance",
                on=date(2026, 11, day),
                currency="USD",
                postings=owner_postings(kind="loan_advance", amount_minor=100 * day, venue_id=corner),
                reference=f"Advance {day}, Löwenbräu",
                source_id=None,
                now=datetime(2026, 11, 25, 17, 0, tzinfo=UTC) + timedelta(microseconds=day),
            )
    with writing(engine) as session:
        if engine.dialect.name == "postgresql":
            for table in ("ledger_entry", "ledger_posting"):
                session.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER USER"))
        else:
            triggers = session.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars().all()
            for name in triggers:
                if name.startswith("ledger_"):
                    session.execute(text(f"DROP TRIGGER {name}"))
    return engine


def change(engine: Engine, *statements: str) -> None:
    with writing(engine) as session:
        for statement in statements:
            session.execute(text(statement))


@pytest.mark.usefixtures("books")
def test_books_that_nobody_touched_hold(client: TestClient) -> None:
    check = client.get("/v1/ledger/verify").json()
    last = client.get("/v1/ledger/entries?after=5").json()["items"][0]
    assert check == {"ok": True, "entries": 6, "first_bad": None, "last_hash": last["hash"], **NOTHING_ALTERED}


def test_empty_books_hold(client: TestClient) -> None:
    verdict = client.get("/v1/ledger/verify").json()
    assert verdict == {"ok": True, "entries": 0, "first_bad": None, "last_hash": None, **NOTHING_ALTERED}


CHANGES = {
    "a byte of the reference": "UPDATE ledger_entry SET reference = 'Advance 9, Löwenbräu' WHERE number = 4",
    "the kind": "UPDATE ledger_entry SET kind = 'opening' WHERE number = 4",
    "the date": "UPDATE ledger_entry SET booked_on = '2026-11-05' WHERE number = 4",
    "when it was recorded": "UPDATE ledger_entry SET recorded_at = '2026-11-25 17:00:00.000005' WHERE number = 4",
    "the currency": "UPDATE ledger_entry SET currency = 'CAD' WHERE number = 4",
    "its id": "UPDATE ledger_entry SET id = '00000000000000000000000000000001' WHERE number = 4",
    "its source": "UPDATE ledger_entry SET source_id = '00000000000000000000000000000001' WHERE number = 4",
    "its hash": f"UPDATE ledger_entry SET hash = '{'a' * 64}' WHERE number = 4",
    "the hash before it": f"UPDATE ledger_entry SET previous_hash = '{'a' * 64}' WHERE number = 4",
    "an amount by one minor unit": "UPDATE ledger_posting SET amount_minor = amount_minor + 1 "
    "WHERE entry_number = 4 AND place = 0",
    "both amounts": "UPDATE ledger_posting SET amount_minor = amount_minor * 2 WHERE entry_number = 4",
    "an account": "UPDATE ledger_posting SET account = 'cash_in_bags' WHERE entry_number = 4 AND place = 1",
    "a venue": "UPDATE ledger_posting SET venue_id = NULL WHERE entry_number = 4",
    "the places": "UPDATE ledger_posting SET place = place + 1 - 2 * (place % 2) + 10 WHERE entry_number = 4",
    "a posting more": "INSERT INTO ledger_posting VALUES (4, 2, 'bank', NULL, 5)",
    "a posting less": "DELETE FROM ledger_posting WHERE entry_number = 4 AND place = 1",
    "no postings": "DELETE FROM ledger_posting WHERE entry_number = 4",
}
SQLITE_CHANGES = {
    "bytes that are no text": "UPDATE ledger_entry SET reference = CAST(x'FF41' AS TEXT) WHERE number = 4",
    "bytes in place of text": "UPDATE ledger_entry SET reference = x'0041' WHERE number = 4",
    "no date": "UPDATE ledger_entry SET booked_on = 'yesterday' WHERE number = 4",
    "no instant": "UPDATE ledger_entry SET recorded_at = 17 WHERE number = 4",
    "no id": "UPDATE ledger_entry SET id = 'x' WHERE number = 4",
    "no amount": "UPDATE ledger_posting SET amount_minor = 'a little' WHERE entry_number = 4",
    "half a cent": "UPDATE ledger_posting SET amount_minor = amount_minor + 0.5 WHERE entry_number = 4",
}


def keep(engine: Engine) -> list[str]:
    """Return statements that bring entry 4 back as it stands."""
    with reading(engine) as session:
        entry = session.execute(text("SELECT * FROM ledger_entry WHERE number = 4")).one()
        postings = session.execute(text("SELECT * FROM ledger_posting WHERE entry_number = 4")).all()

    def literal(value: Any) -> str:
        return "NULL" if value is None else str(value) if isinstance(value, int) else f"'{value}'"

    rows = [("ledger_entry", entry), *(("ledger_posting", posting) for posting in postings)]
    return [
        "DELETE FROM ledger_posting WHERE entry_number = 4",
        "DELETE FROM ledger_entry WHERE number = 4",
        *(f"INSERT INTO {table} VALUES ({', '.join(map(literal, row))})" for table, row in rows),
    ]


def test_the_first_entry_that_was_changed_is_named_whatever_was_changed(books: Engine, client: TestClient) -> None:
    restore = keep(books)
    changes = {**CHANGES, **SQLITE_CHANGES} if books.dialect.name == "sqlite" else CHANGES
    for name, statement in changes.items():
        change(books, statement)
        check = client.get("/v1/ledger/verify").json()
        assert (check["ok"], check["first_bad"]["place"], check["first_bad"]["number"]) == (False, 4, "4"), name
        assert (check["entries"], check["last_hash"]) == (6, None), name
        change(books, *restore)
        assert client.get("/v1/ledger/verify").json()["ok"], name


def test_an_entry_that_was_taken_out_shows_at_the_next(books: Engine, client: TestClient) -> None:
    change(books, "DELETE FROM ledger_posting WHERE entry_number = 4", "DELETE FROM ledger_entry WHERE number = 4")
    assert client.get("/v1/ledger/verify").json() == {
        "ok": False,
        "entries": 5,
        "first_bad": {
            "place": 4,
            "number": "5",
            "id": client.get("/v1/ledger/entries?after=4&limit=1").json()["items"][0]["id"],
            "why": "its number is not 4, which follows",
        },
        "last_hash": None,
        **NOTHING_ALTERED,
    }


def test_an_entry_that_was_sealed_anew_shows_at_the_one_after_it(books: Engine, client: TestClient) -> None:
    whole = client.get("/v1/ledger/entries").json()["items"]
    with writing(books) as session:
        session.execute(text("DELETE FROM ledger_posting WHERE entry_number >= 4"))
        session.execute(text("DELETE FROM ledger_entry WHERE number >= 4"))
    with writing(books) as session:
        post_entry(
            session,
            kind="loan_advance",
            on=date(2026, 11, 4),
            currency="USD",
            postings=owner_postings(kind="loan_advance", amount_minor=1, venue_id=whole[0]["venue_id"]),
            reference="forged, and sealed",
            source_id=None,
            now=datetime(2026, 11, 25, 17, 0, tzinfo=UTC),
        )
    fifth = whole[4]
    change(
        books,
        f"INSERT INTO ledger_entry SELECT 5, '{fifth['id'].replace('-', '')}', kind, booked_on, recorded_at, currency, "
        f"'{fifth['reference']}', source_id, '{fifth['previous_hash']}', '{fifth['hash']}', NULL, NULL, NULL "
        "FROM ledger_entry WHERE number = 4"
        if books.dialect.name == "sqlite"
        else f"INSERT INTO ledger_entry SELECT 5, '{fifth['id']}', kind, booked_on, recorded_at, currency, "
        f"'{fifth['reference']}', source_id, '{fifth['previous_hash']}', '{fifth['hash']}' "
        "FROM ledger_entry WHERE number = 4",
    )
    bad = client.get("/v1/ledger/verify").json()["first_bad"]
    assert (bad["number"], bad["why"]) == ("5", "it does not name the hash of the entry before it")


def test_books_that_are_damaged_are_not_reported_from(books: Engine, client: TestClient) -> None:
    change(books, "UPDATE ledger_posting SET amount_minor = amount_minor + 1 WHERE entry_number = 4 AND place = 0")
    for path in ("ledger/export", "ledger/entries", "reports/year?year=2026"):
        answer = client.get(f"/v1/{path}")
        assert (answer.status_code, answer.json()["type"]) == (409, "/problems/books_damaged"), path


def test_the_command_says_the_same(books: Engine, run: Run) -> None:
    status, said, complaint = run("ledger", "verify")
    assert (status, said.split(".")[0]) == (0, "6 entries, and every one fits"), complaint
    change(books, CHANGES["a byte of the reference"])
    status, said, complaint = run("ledger", "verify")
    assert (status, said) == (1, "")
    assert complaint.startswith("Entry 4 does not fit (number 4, id ")
    assert complaint.endswith("its content does not give its hash.\n")


def add_many(engine: Engine, count: int) -> None:
    """Add so many sealed entries at once."""
    with writing(engine) as session:
        postings = owner_postings(kind="opening", amount_minor=1)
        number, previous_hash = session.execute(text("SELECT count(*), max(hash) FROM ledger_entry")).one()
        entries = []
        for _ in range(count):
            number += 1
            entry = with_hash(
                Entry(
                    id=str(UUID(int=number)),
                    number=number,
                    kind="opening",
                    on=date(2026, 11, 25),
                    recorded_at=datetime(2026, 11, 25, 17, 0, tzinfo=UTC),
                    currency="USD",
                    postings=postings,
                    reference="x" * 500,
                    previous_hash=previous_hash or GENESIS,
                )
            )
            entries.append(entry)
            previous_hash = entry.hash
        lines = [
            {
                "entry_number": e.number,
                "place": i,
                "account": p.account,
                "venue_id": None,
                "amount_minor": p.amount_minor,
            }
            for e in entries
            for i, p in enumerate(e.postings)
        ]
        heads = [
            {
                "number": e.number,
                "id": UUID(e.id),
                "kind": e.kind,
                "booked_on": e.on,
                "recorded_at": e.recorded_at,
                "currency": e.currency,
                "reference": e.reference,
                "source_id": None,
                "previous_hash": e.previous_hash,
                "hash": e.hash,
            }
            for e in entries
        ]
        session.execute(insert(PostingRow), lines)
        session.execute(insert(EntryRow), heads)


def test_the_check_holds_a_part_of_the_journal_at_a_time_however_long_it_is(engine: Engine) -> None:
    add_many(engine, 4000)
    with reading(engine) as session:
        assert check_ledger(session).entries == 4000
        tracemalloc.start()
        assert check_ledger(session).ok
        _, most_bytes = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    whole_bytes = 4000 * 2 * 500  # the references alone, which stand beside each of the two postings
    assert most_bytes < whole_bytes / 2
