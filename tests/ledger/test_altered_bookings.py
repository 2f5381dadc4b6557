"""A change of any row that an entry books, or of a collection not settled yet, shows without the tables' guards (L3)."""

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from baizebook.ops.check import check_books
from baizebook.reports.queries import altered_bookings, altered_collections, altered_records, verify_books
from baizebook.store.db import reading
from fastapi.testclient import TestClient
from sqlalchemy import JSON, Column, Engine, Integer, Numeric, text
from sqlalchemy.exc import DataError, IntegrityError
from sqlmodel import Session, SQLModel

from tests.conftest import Route

TABLES = (
    *("collection", "collected_table", "settlement", "agreement", "reversal"),
    *("job_done", "job_part", "retirement", "record_digest"),
)
BEARS_NO_MONEY = {
    "counter": "the last number given: the next record would clash, and no amount rests on it",
    "date_set": "dates",
    "dispute": "what somebody claims, in words; the collection that it is about has its digest",
    "earned_box": "worked out from collections, and again whenever one is touched",
    "earned_part": "worked out from collections, and again whenever one is touched",
    "import_line": "which line made which record",
    "import_shape": "how columns of a file were read",
    "job": "a fault in words; what its parts cost is in job_part",
    "job_step": "who has a job",
    "kept_answer": "an answer that goes after 48 hours; what it tells is stored",
    "keying": "when prices were keyed; each box keeps in its digest what it was judged by",
    "last_change": "the order of feeds",
    "operator_settings": "levels of batteries and clocks",
    "pool_table": "may be changed by its operator at any time; each box keeps the meters it was judged by",
    "reading": "what a table reported; each box keeps the meters it was judged by",
    "schedule": "prices asked, not money taken; each box keeps what it was judged by",
    "sheet_link": "who may read",
    "signing_key": "signs links",
    "stay": "where a table was; each box names its venue and keeps the meters it was judged by",
    "tariff": "prices asked, not money taken; each box keeps what it was judged by",
    "tax_area": "may be changed by an owner; each settlement keeps its rate",
    "to_reckon": "what is to be worked out again",
    "touched": "what is to be assessed again",
    "trip_stop": "which venue comes after which",
    "venue": "may be changed by an owner; entries keep their currency",
    "venue_fact": "names and tax areas; each settlement keeps its rate",
    "webhook_delivery": "carries no amount",
    "webhook_endpoint": "carries no amount",
    "work": "what needs doing, assessed again",
}
"""Tables with numbers or JSON that no digest covers, and why no amount can be falsified there unseen."""


@pytest.fixture
def books(route: Route, engine: Engine) -> Engine:
    """Three collections of two tables each, one of them reversed, and two that wait for an agreement; no guards."""
    apart = route.venue(name="The Tin Heron")["id"]
    lone = route.table(apart)["id"]
    sold = route.table(apart, label="Sold", placed_at="2026-01-05T15:00:00Z")["id"]
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
    route.post(f"/collections/{UUID(int=13)}/reversal", {"reason": "miscounted"})
    route.post(f"/venues/{venue}/agreements", {"effective_on": "2027-01-01", "venue_percent": "40"})
    for number, parts in ((1, [{"name": "cloth", "cost": "50.00"}, {"name": "glue", "cost": "2.00"}]), (2, [])):
        job = {"id": str(UUID(int=number)), "table_id": tables[0], "reported_at": "2026-10-20T16:00:00Z"}
        route.post("/jobs", {**job, "fault": "cloth_damaged", "playable": True})
        done = {"at": "2026-10-21T16:00:00Z", "found": "torn", "test_money": "1.00", "parts": parts}
        route.post(f"/jobs/{UUID(int=number)}/done", done)
    sale = {"how": "sold", "at": "2026-10-22T16:00:00Z", "box": "empty", "price": "90.00", "buyer": "Odile"}
    route.post(f"/tables/{sold}/retirement", sale)
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


def altered(session: Session) -> list[object]:
    return [*altered_bookings(session), *altered_collections(session), *altered_records(session)]


def test_every_table_with_a_number_is_covered_or_says_why_not() -> None:
    numbers = {
        name
        for name, table in SQLModel.metadata.tables.items()
        if any(isinstance(column.type, (Integer, JSON, Numeric)) for column in table.c)
    }
    assert numbers - set(TABLES) - {"ledger_entry", "ledger_posting"} == set(BEARS_NO_MONEY)


@pytest.mark.parametrize("table", ["agreement", "reversal", "job_done", "job_part", "retirement"])
def test_a_record_that_no_entry_covers_shows_in_the_check_and_in_the_service_when_it_is_gone(
    books: Engine, client: TestClient, table: str
) -> None:
    unused = {
        "agreement": "effective_on = '2027-01-01'",
        "reversal": "entry_id IS NULL",
        "job_part": "name = 'glue'",
    }
    with books.begin() as connection:
        connection.execute(text(f"DELETE FROM {table} WHERE {unused.get(table, '1 = 1')}"))
    bad = {finding.what for finding in check_books(books) if finding.grade == "bad"}
    assert bad == {"records"}
    verdict = client.get("/v1/ledger/verify").json()
    assert (verdict["ok"], verdict["altered_entries"], verdict["altered_collections"]) == (False, [], [])
    assert verdict["altered_records"]


def test_the_newest_record_taken_out_with_its_digest_shows_against_the_digest_kept_elsewhere(
    books: Engine, client: TestClient
) -> None:
    before = client.get("/v1/ledger/verify").json()
    assert (before["ok"], before["records"] > 0, len(before["last_record_digest"])) == (True, True, 64)
    venue_id = client.get("/v1/venues").json()["items"][0]["id"]
    agreement = {"effective_on": "2027-06-01", "venue_percent": "40"}
    made = client.post(f"/v1/venues/{venue_id}/agreements", json=agreement)
    assert made.status_code == 201, made.text
    kept = client.get("/v1/ledger/verify").json()
    assert (kept["ok"], kept["records"]) == (True, before["records"] + 1)
    with books.begin() as connection:
        connection.execute(text("DELETE FROM agreement WHERE effective_on = '2027-06-01'"))
        connection.execute(text("DELETE FROM record_digest WHERE number = :number"), {"number": kept["records"]})
    after = client.get("/v1/ledger/verify").json()
    assert (after["ok"], after["records"]) == (True, before["records"]), "the chain cannot show it by itself"
    assert after["last_record_digest"] == before["last_record_digest"] != kept["last_record_digest"]
    with Session(books) as session:
        session.execute(text("UPDATE record_digest SET digest = :other WHERE number = 1"), {"other": "0" * 64})
        assert verify_books(session).last_record_digest is None
        session.rollback()


def test_books_that_nobody_altered_are_good(books: Engine) -> None:
    with reading(books) as session:
        assert altered(session) == []
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
                    found = altered(session)
                    assert found, f"{name}.{column.name} of {row}"
                    session.rollback()
                    changed += 1
    assert changed > 250


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
            assert len(list(altered_collections(session))) == 5, (column, json.dumps(value))
            session.rollback()
    for table, column in (("job_done", "meters_after"), ("agreement", "terms"), ("job_part", "cost_minor")):
        with Session(books) as session:
            session.execute(text(f"UPDATE {table} SET {column} = '{{'"))
            assert list(altered_records(session)), (table, column)
            session.rollback()
    keys = (("record_digest", "subject_id"), ("agreement", "id"), ("retirement", "stay_id"), ("collection", "id"))
    for table, column in (*keys, ("collected_table", "collection_id")):
        with Session(books) as session:
            session.execute(text("PRAGMA defer_foreign_keys = on"))
            session.execute(text(f"UPDATE {table} SET {column} = 'z' || substr({column}, 2)"))
            verdict = verify_books(session)
            assert not verdict.ok, (table, column)
            assert verdict.altered_records or verdict.altered_collections, (table, column)
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
        for table in ("collected_table", "reversal"):
            session.execute(text(f"DELETE FROM {table} WHERE collection_id IN {gone}"))
        session.execute(text("DELETE FROM collection WHERE trading_on = '2026-10-13'"))
        assert list(altered_collections(session)) == [UUID(int=14)]
        session.rollback()
