"""Migrations: of several at once one works and the others wait; a database that is newer is said in one sentence."""

import subprocess
import sys

import pytest
from baizebook.store import migrate
from baizebook.store.db import make_engine
from sqlalchemy import Engine, text

from tests.databases import empty_sqlite, postgres_database, settings_for

MIGRATE = (sys.executable, "-m", "baizebook", "migrate")


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_of_four_that_migrate_at_once_all_end_well(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with empty_sqlite() if kind == "sqlite" else postgres_database(empty=True) as url:
        monkeypatch.setenv("BAIZEBOOK_DATABASE_URL", url)
        running = [
            subprocess.Popen(MIGRATE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(4)
        ]
        ended = [(process.communicate(timeout=120), process.returncode) for process in running]
        assert [status for _, status in ended] == [0] * 4, ended
        engine = make_engine(settings_for(url))
        with engine.connect() as connection:
            assert migrate.current_revision(connection) == migrate.newest_revision()
        engine.dispose()


def test_a_database_newer_than_the_program_is_refused_in_one_sentence(engine: Engine) -> None:
    with engine.execution_options(writes=True).begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = 'of_next_year'"))
    with pytest.raises(ValueError, match=r"^The database is at revision of_next_year, which this version of Baizebook"):
        migrate.upgrade(engine)
