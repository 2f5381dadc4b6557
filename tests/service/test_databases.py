"""The PostgreSQL databases that tests use in turn: nothing of one test is found by the next."""

import pytest
from baizebook.ledger.queries import check_ledger
from baizebook.ledger.schemas import EntryIn
from baizebook.ledger.service import post_owner_entry
from baizebook.store.db import make_engine, reading, writing
from sqlalchemy import Engine, make_url, text

from tests.conftest import NOON
from tests.databases import postgres_database, settings_for


def post_one(engine: Engine) -> None:
    entry = EntryIn.model_validate({"kind": "opening", "account": "bank", "amount": "25.00", "on": "2026-01-01"})
    with writing(engine) as session:
        post_owner_entry(session, entry, currency="USD", now=NOON)


def test_a_database_is_used_again_without_rows_with_its_guards_and_counting_from_one() -> None:
    with postgres_database() as first:
        left_open = make_engine(settings_for(first))
        post_one(left_open)
    with postgres_database() as second:
        assert second == first
        engine = make_engine(settings_for(second))
        with reading(engine) as session:
            assert check_ledger(session).entries == 0
        post_one(engine)
        with reading(engine) as session:
            assert (check_ledger(session).ok, check_ledger(session).entries) == (True, 1)
        with pytest.raises(Exception, match="append-only"), writing(engine) as session:
            session.execute(text("DELETE FROM ledger_entry"))
        engine.dispose()
    left_open.dispose()


@pytest.mark.parametrize(
    "statement",
    [
        "ALTER TABLE reading DISABLE TRIGGER USER",
        "CREATE TABLE planted (id integer)",
        "UPDATE alembic_version SET version_num = 'another'",
        "CREATE OR REPLACE FUNCTION published_append_only() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN OLD; END'",
        "GRANT SELECT ON venue TO PUBLIC",
    ],
)
def test_a_database_of_which_more_than_rows_was_changed_is_not_used_again(statement: str) -> None:
    with postgres_database() as first:
        engine = make_engine(settings_for(first))
        with writing(engine) as session:
            session.execute(text(statement))
        engine.dispose()
    with postgres_database() as second:
        assert make_url(second).database != make_url(first).database
