"""Migrations: of several at once one works and the others wait; a database that is newer is said in one sentence."""

import os
import subprocess
import sys

import pytest
from alembic.script import ScriptDirectory
from baizebook.store import migrate
from baizebook.store.db import make_engine
from baizebook.store.revision import current_revision, newest_revision
from sqlalchemy import Engine, text

from tests.databases import empty_sqlite, postgres_database, settings_for

MIGRATE_IN_FOUR_PROCESSES = """
import os
from baizebook.migrations import all_rows
from baizebook.store import db, migrate

processes = []
for _ in range(4):
    process = os.fork()
    if process == 0:
        migrate.upgrade(db.get_engine())
        os._exit(0)
    processes.append(process)
print([os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) for process in processes])
"""


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_of_four_that_migrate_at_once_all_end_well(kind: str) -> None:
    with empty_sqlite() if kind == "sqlite" else postgres_database(empty=True) as url:
        ended = subprocess.run(
            [sys.executable, "-c", MIGRATE_IN_FOUR_PROCESSES],
            env={**os.environ, "BAIZEBOOK_DATABASE_URL": url},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert ended.stdout == "[0, 0, 0, 0]\n", ended.stderr
        engine = make_engine(settings_for(url))
        with engine.connect() as connection:
            assert current_revision(connection) == newest_revision()
        engine.dispose()


def test_a_database_newer_than_the_program_is_refused_in_one_sentence(engine: Engine) -> None:
    with engine.execution_options(writes=True).begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = 'of_next_year'"))
    with pytest.raises(ValueError, match=r"^The database is at revision of_next_year, which this version of Baizebook"):
        migrate.upgrade(engine)


def test_the_newest_revision_is_alembics_own() -> None:
    assert newest_revision() == ScriptDirectory.from_config(migrate.config_for()).get_current_head()
