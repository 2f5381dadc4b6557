"""The migrations: up, no drift from the rows, down to nothing and up again, on both databases."""

from collections.abc import Iterator

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from baizebook.migrations.all_rows import metadata
from baizebook.store import db, migrate
from baizebook.store.db import make_engine
from sqlalchemy import Engine, inspect

from tests.databases import empty_sqlite, postgres_database, settings_for


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_engine(request: pytest.FixtureRequest) -> Iterator[Engine]:
    with empty_sqlite() if request.param == "sqlite" else postgres_database(empty=True) as url:
        engine = make_engine(settings_for(url))
        yield engine
        engine.dispose()


def tables(engine: Engine) -> set[str]:
    return set(inspect(engine).get_table_names()) - {"alembic_version"}


def test_migrations_build_what_the_rows_say_and_take_it_down_and_build_it_again(empty_engine: Engine) -> None:
    migrate.upgrade(empty_engine)
    assert tables(empty_engine) == set(metadata.tables)
    migrate.downgrade(empty_engine, "base")
    assert tables(empty_engine) == set()
    migrate.upgrade(empty_engine)
    assert tables(empty_engine) == set(metadata.tables)


def test_the_migrated_database_has_no_drift_from_the_rows(empty_engine: Engine) -> None:
    migrate.upgrade(empty_engine)
    with empty_engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_upgrading_twice_changes_nothing(empty_engine: Engine) -> None:
    migrate.upgrade(empty_engine)
    migrate.upgrade(empty_engine)
    assert tables(empty_engine) == set(metadata.tables)


def test_a_migration_may_take_longer_than_a_request(monkeypatch: pytest.MonkeyPatch) -> None:
    short = "SELECT set_config('statement_timeout', '1ms', true), set_config('lock_timeout', '2s', true)"
    monkeypatch.setattr(db, "_SET_LIMITS", short)
    with postgres_database(empty=True) as url:
        engine = make_engine(settings_for(url))
        migrate.upgrade(engine)
        assert "venue" in inspect(engine).get_table_names()
        engine.dispose()
