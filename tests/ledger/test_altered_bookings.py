"""A change of any row that an entry books, or of a collection not settled yet, shows without the tables' guards (L3)."""

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from baizebook.ops.check import check_books
from baizebook.reports.queries import altered_bookings, altered_collections
from baizebook.store.db import reading
from fastapi.testclient import TestClient
from sqlalchemy import Column, Engine, text
from sqlalchemy.exc import DataError, IntegrityError
from sqlmodel import Session, SQLModel

from tests.conftest import Route

TABLES = ("collection", "collected_table", "settlement", "agreement", "reversal")


@pytest.fixture
def books(route: Route, engine: Engine) -> Engine:
    """Three collections of two tables each, one of them reversed, and two that wait for an agreement; no guards."""
    apart = route.venue(name="The Tin Heron")["id"]
    lone = route.table(apart)["id"]
    venue = route.venue()["id"]
    tables = [route.table(venue, label=label)["id"] for label in ("Front", "Back")]
    licence = {"name": "Licence", "amount": "60.00", "per": "month", "starts_on": "2026-10-01"}
    route.post(
        f"/venues/{venue}/agreements",
        {"effective_on": "2026-01-01", "venue_percent": "50", "first_money": [licence]},
    )
    for day in (10, 11, 12):
        body = {
            "id": str(UUID(int=day)),
            "venue_id": venue,
            "collected_at": f"2026-10-{day}T16:00:00Z",
            "collector": "Ana",
            "tables": [{"table_id": table, "counted": {"1.00": 25}} for table in tables],
        }
        route.post("/collections", body)
    for day in (13, 14):
        body = {
            "id": str(UUID(int=day)),
            "venue_id": apart,
            "collected_at": f"2026-10-{day}T16:00:00Z",
            "collector": "Ana",
            "tables": [{"table_id": lone, "counted": {"1.00": 25}}],
        }
        assert route.post("/collections", body)["settlement"] is None
    route.post(f"/collections/{UUID(int=11)}/reversal", {"reason": "miscounted"})
    with engine.begin() as connection:
        for table in TABLES:
            if engine.dialect.name == "postgresql":
                connection.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER USER"))
            else:
                query = text("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = :table")
                for name in connection.execute(query, {"table": table}).scalars().all():
                    connection.execute(text(f"DROP TRIGGER {name}"))
    return engine


SOME = {"Uuid": UUID(int=1), "Utc": datetime(2026, 11, 1, tzinfo=UTC), "JSON": {"more": 1}, "BigInteger": 1}


def other(value: Any, column: Column[Any]) -> Any:
    """Return another value of the same kind; where there is none, some value of the column."""
    if value is None:
        return SOME.get(type(column.type).__name__, "some")
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    if isinstance(value, UUID):
        return UUID(int=value.int ^ 1)
    if isinstance(value, datetime):
        return value + timedelta(microseconds=1)
    if isinstance(value, date):
        return value + timedelta(days=1)
    if isinstance(value, list):
        return [*value, {}]
    if isinstance(value, dict):
        return {**value, "more": 1}
    return f"{value or ''}1"


def test_books_that_nobody_altered_are_good(books: Engine) -> None:
    with reading(books) as session:
        assert list(altered_bookings(session)) == list(altered_collections(session)) == []
    assert {finding.grade for finding in check_books(books)} == {"good"}


def test_every_column_of_every_row_that_is_booked_shows_when_it_is_changed(books: Engine) -> None:
    changed = 0
    for name in TABLES:
        table = SQLModel.metadata.tables[name]
        with Session(books) as session:
            rows = [dict(row) for row in session.execute(table.select()).mappings()]
        assert rows
        for row in rows:
            same = [table.c[key.name] == row[key.name] for key in table.primary_key]
            for column in table.c:
                with Session(books) as session:
                    if books.dialect.name == "sqlite":
                        session.execute(text("PRAGMA ignore_check_constraints = 1"))
                    try:
                        session.execute(
                            table.update().where(*same).values({column.name: other(row[column.name], column)})
                        )
                    except (IntegrityError, DataError):
                        continue  # the database refused it even so
                    found = [*altered_bookings(session), *altered_collections(session)]
                    assert found, f"{name}.{column.name} of {row}"
                    session.rollback()
                    changed += 1
    assert changed > 200


def test_a_row_that_is_gone_or_added_shows(books: Engine) -> None:
    statements = [f"DELETE FROM {name}" for name in ("collected_table", "settlement", "reversal")]
    for statement in statements:
        with Session(books) as session:
            session.execute(text(statement))
            assert list(altered_bookings(session)), statement
            session.rollback()


def test_the_check_names_the_first_entry_whose_facts_were_changed(books: Engine) -> None:
    with books.begin() as connection:
        connection.execute(text("UPDATE collection SET counted_minor = counted_minor + 100"))
    (finding,) = (finding for finding in check_books(books) if finding.what == "booked facts")
    assert finding.grade == "bad"
    assert "3 entries" in finding.says
    assert "entry 1" in finding.says


def test_text_that_is_no_value_of_its_column_shows_and_stops_nothing(books: Engine) -> None:
    if books.dialect.name == "postgresql":
        pytest.skip("PostgreSQL stores no such value")
    for column, value in (("counts", "{"), ("is_figure", "maybe"), ("counted_minor", "many"), ("since_at", "soon")):
        with Session(books) as session:
            where = "WHERE place = 0"
            session.execute(text(f"UPDATE collected_table SET {column} = :value {where}"), {"value": value})
            assert len(list(altered_bookings(session))) == 3, (column, json.dumps(value))
            session.rollback()


def test_the_check_and_the_service_name_an_unsettled_collection_whose_count_was_changed(
    books: Engine, client: TestClient
) -> None:
    with books.begin() as connection:
        change = "UPDATE collected_table SET counted_minor = counted_minor + 100 WHERE collection_id IN "
        connection.execute(text(f"{change} (SELECT id FROM collection WHERE trading_on = '2026-10-13')"))
    bad = [finding for finding in check_books(books) if finding.grade == "bad"]
    assert [finding.what for finding in bad] == ["collections"]
    assert str(UUID(int=13)) in bad[0].says
    verdict = client.get("/v1/ledger/verify").json()
    assert (verdict["ok"], verdict["altered_entries"]) == (False, [])
    assert verdict["altered_collections"] == [str(UUID(int=13))]


def test_an_unsettled_collection_that_is_gone_shows_at_the_next(books: Engine) -> None:
    with Session(books) as session:
        gone = "(SELECT id FROM collection WHERE trading_on = '2026-10-13')"
        session.execute(text(f"DELETE FROM collected_table WHERE collection_id IN {gone}"))
        session.execute(text("DELETE FROM collection WHERE trading_on = '2026-10-13'"))
        assert list(altered_collections(session)) == [UUID(int=14)]
        session.rollback()
