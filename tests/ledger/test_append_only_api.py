"""Nothing that was posted can be changed in any way that a database offers, and what does not balance never enters (L1)."""

from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import pytest
from baizebook.ledger.entry_kinds import owner_postings
from baizebook.ledger.queries import check_ledger, get_entry
from baizebook.ledger.rows import EntryRow, PostingRow
from baizebook.ledger.service import post_entry
from baizebook.store.db import reading, writing
from sqlalchemy import Engine, delete, insert, text, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session, col, select

NOW = datetime(2026, 11, 25, 17, 0, tzinfo=UTC)
NEW_ID = UUID(int=7)
REFUSALS = "append-only|is added to an entry that stands|an entry is new|closes two or more"


def bring_in(session: Session, amount_minor: int = 100_00) -> UUID:
    """Post an opening of the bank, and return the id of the entry."""
    return post_entry(
        session,
        kind="opening",
        on=date(2026, 11, 25),
        currency="USD",
        postings=owner_postings(kind="opening", amount_minor=amount_minor),
        reference="paying-in slip 7",
        source_id=None,
        now=NOW,
    )


@pytest.fixture
def books(engine: Engine) -> Engine:
    """A database with three entries in it."""
    with writing(engine) as session:
        for amount_minor in (100_00, 200_00, 300_00):
            bring_in(session, amount_minor)
    return engine


def everything(engine: Engine) -> tuple[list[Any], list[Any]]:
    with reading(engine) as session:
        entries = session.execute(select(*EntryRow.__table__.c).order_by(col(EntryRow.number))).all()
        postings = session.execute(
            select(*PostingRow.__table__.c).order_by(col(PostingRow.entry_number), col(PostingRow.place))
        ).all()
        return list(entries), list(postings)


def _of_orm_entry(session: Session) -> None:
    session.get_one(EntryRow, 2).reference = "nothing to see"
    session.flush()


def _of_orm_posting(session: Session) -> None:
    session.delete(session.get_one(PostingRow, (2, 0)))
    session.flush()


def _again(session: Session, **changes: Any) -> dict[str, Any]:
    return {**session.get_one(EntryRow, 2).model_dump(), **changes}


def _upsert(session: Session) -> None:
    dialect = {"sqlite": sqlite, "postgresql": postgresql}[session.get_bind().dialect.name]
    statement = dialect.insert(EntryRow).values(**_again(session, reference="nothing to see"))
    set_ = {"reference": statement.excluded.reference}
    session.execute(statement.on_conflict_do_update(index_elements=["number"], set_=set_))


def _upsert_posting(session: Session) -> None:
    dialect = {"sqlite": sqlite, "postgresql": postgresql}[session.get_bind().dialect.name]
    values = {**session.get_one(PostingRow, (2, 0)).model_dump(), "amount_minor": 1}
    statement = dialect.insert(PostingRow).values(**values)
    set_ = {"amount_minor": statement.excluded.amount_minor}
    session.execute(statement.on_conflict_do_update(index_elements=["entry_number", "place"], set_=set_))


WAYS: dict[str, Any] = {
    "update an entry": lambda s: s.execute(update(EntryRow).values(reference="x")),
    "update a posting": lambda s: s.execute(
        update(PostingRow).where(col(PostingRow.place) == 1).values(amount_minor=-1)
    ),
    "move a posting": lambda s: s.execute(text("UPDATE ledger_posting SET entry_number = 3 WHERE entry_number = 2")),
    "update nothing, as it seems": lambda s: s.execute(text("UPDATE ledger_entry SET hash = hash")),
    "delete the last entry": lambda s: s.execute(delete(EntryRow).where(col(EntryRow.number) == 3)),
    "delete a posting": lambda s: s.execute(delete(PostingRow).where(col(PostingRow.entry_number) == 3)),
    "change an object": _of_orm_entry,
    "delete an object": _of_orm_posting,
    "upsert an entry": _upsert,
    "upsert a posting": _upsert_posting,
    "merge an object": lambda s: (s.merge(EntryRow(**_again(s, kind="deposit"))), s.flush()),
    "add a posting to an entry that stands": lambda s: s.execute(
        insert(PostingRow), [{"entry_number": 3, "place": 2, "account": "bank", "venue_id": None, "amount_minor": 5}]
    ),
    "add an entry without postings": lambda s: s.execute(insert(EntryRow), [_again(s, number=4, id=NEW_ID)]),
    "add an entry of one posting": lambda s: (
        s.execute(
            insert(PostingRow),
            [{"entry_number": 4, "place": 0, "account": "bank", "venue_id": None, "amount_minor": 5}],
        ),
        s.execute(insert(EntryRow), [_again(s, number=4, id=NEW_ID)]),
    ),
    "add an entry that does not balance": lambda s: (
        s.execute(
            insert(PostingRow),
            [
                {"entry_number": 4, "place": place, "account": "bank", "venue_id": None, "amount_minor": amount_minor}
                for place, amount_minor in enumerate((5, -4))
            ],
        ),
        s.execute(insert(EntryRow), [_again(s, number=4, id=NEW_ID)]),
    ),
}


SQLITE_WAYS = {
    "replace an entry": "REPLACE INTO ledger_entry SELECT number, id, kind, booked_on, recorded_at, currency, 'x', "
    "source_id, previous_hash, hash, NULL, NULL, NULL FROM ledger_entry WHERE number = 2",
    "replace a posting": "INSERT OR REPLACE INTO ledger_posting SELECT entry_number, place, account, venue_id, 7 "
    "FROM ledger_posting WHERE entry_number = 2",
    "replace by the id": "INSERT OR REPLACE INTO ledger_entry SELECT 9, id, kind, booked_on, recorded_at, currency, 'x', "
    "source_id, previous_hash, hash, NULL, NULL, NULL FROM ledger_entry WHERE number = 2",
    "update or replace": "UPDATE OR REPLACE ledger_entry SET number = 1 WHERE number = 2",
    "update or ignore": "UPDATE OR IGNORE ledger_entry SET reference = 'x'",
    "delete all": "DELETE FROM ledger_posting",
}
POSTGRES_WAYS = {
    "truncate entries": "TRUNCATE ledger_entry CASCADE",
    "truncate postings": "TRUNCATE ledger_posting",
    "truncate both": "TRUNCATE ledger_entry, ledger_posting CASCADE",
    "merge": "MERGE INTO ledger_entry e USING (SELECT 2 AS n) s ON e.number = s.n "
    "WHEN MATCHED THEN UPDATE SET reference = 'x'",
    "update from": "UPDATE ledger_posting p SET amount_minor = 1 FROM ledger_entry e WHERE e.number = p.entry_number",
    "delete in a query": "WITH gone AS (DELETE FROM ledger_entry RETURNING 1) SELECT count(*) FROM gone",
    "as a replica, which runs no ordinary triggers": "SET LOCAL session_replication_role = replica; "
    "DELETE FROM ledger_entry",
}


def ways_of(engine: Engine) -> dict[str, Any]:
    own = SQLITE_WAYS if engine.dialect.name == "sqlite" else POSTGRES_WAYS
    return {**WAYS, **{name: lambda s, sql=sql: s.execute(text(sql)) for name, sql in own.items()}}


def test_every_way_of_changing_what_was_posted_is_refused_by_the_database(books: Engine) -> None:
    before = everything(books)
    assert len(before[0]) == 3
    for name, way in ways_of(books).items():
        with pytest.raises(DBAPIError, match=REFUSALS), writing(books) as session:  # noqa: PT012
            way(session)
            pytest.fail(f"{name} was let through")
        assert everything(books) == before, name


def test_sqlite_refuses_to_replace_also_on_a_connection_that_runs_no_triggers_inside_others(books: Engine) -> None:
    if books.dialect.name != "sqlite":
        return
    before = everything(books)
    for name in ("replace an entry", "replace by the id", "replace a posting"):
        with books.connect() as connection:
            connection.exec_driver_sql("ROLLBACK")
            connection.exec_driver_sql("PRAGMA recursive_triggers=0")
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            with pytest.raises(DBAPIError, match=REFUSALS):
                connection.exec_driver_sql(SQLITE_WAYS[name])
            connection.exec_driver_sql("ROLLBACK")
            connection.exec_driver_sql("PRAGMA recursive_triggers=1")
            connection.exec_driver_sql("BEGIN")
        assert everything(books) == before, name


def test_a_posting_without_its_entry_does_not_outlive_the_transaction(books: Engine) -> None:
    with pytest.raises(DBAPIError), writing(books) as session:
        session.execute(
            insert(PostingRow),
            [{"entry_number": 4, "place": 0, "account": "bank", "venue_id": None, "amount_minor": 5}],
        )
    assert len(everything(books)[1]) == 6


def test_what_was_rolled_back_leaves_no_gap(books: Engine) -> None:
    with pytest.raises(RuntimeError), writing(books) as session:  # noqa: PT012
        bring_in(session)
        raise RuntimeError("the collection behind it failed")
    with writing(books) as session:
        assert get_entry(session, bring_in(session)).number == 4
    with reading(books) as session:
        assert check_ledger(session).ok


def test_the_same_collection_is_never_posted_twice(books: Engine) -> None:
    def collection(session: Session) -> None:
        post_entry(
            session,
            kind="collection",
            on=date(2026, 11, 25),
            currency="USD",
            postings=owner_postings(kind="opening", amount_minor=1),
            reference="",
            source_id=NEW_ID,
            now=NOW,
        )

    with writing(books) as session:
        collection(session)
    with pytest.raises(DBAPIError), writing(books) as session:
        collection(session)
    assert len(everything(books)[0]) == 4
