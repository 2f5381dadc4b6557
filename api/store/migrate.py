"""Brings the database to the newest revision, by the migrations that ship with the package."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib.resources import files

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, inspect, text
from sqlalchemy.exc import OperationalError

from .revision import current_revision

_MIGRATING = 7_226_013
_TRIES = 24  # of 5 seconds each
_HOME = files("baizebook.migrations")


def config_for(engine: Engine | None = None) -> Config:
    """Return Alembic's configuration, on an engine where something is to be run."""
    config = Config()
    config.set_main_option("script_location", str(_HOME).replace("%", "%%"))
    config.set_main_option("file_template", "%%(year)d%%(month).2d%%(day).2d_%%(slug)s")
    config.attributes["engine"] = engine
    return config


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Apply the migrations up to a revision; of several that try at once one works, and the others wait for it.

    Raises ValueError where the database is newer than this program, or a SQLite file is another program's.
    """
    with engine.connect() as connection:
        found = current_revision(connection)
        strange = [] if found or engine.dialect.name != "sqlite" else inspect(connection).get_table_names()
    if named := [name for name in strange if name != "alembic_version"]:
        raise ValueError(
            f"{engine.url.database} is another program's database: it holds {', '.join(named[:3])}. Name another file in "
            "BAIZEBOOK_DATABASE_URL."
        )
    if found is not None and not knows_revision(found):
        raise ValueError(
            f"The database is at revision {found}, which this version of Baizebook does not know: "
            "run the version that migrated it, or a later one."
        )
    with _one_at_a_time(engine):
        _until_unlocked(lambda: command.upgrade(config_for(engine), revision))


@contextmanager
def _one_at_a_time(engine: Engine) -> Iterator[None]:
    """Wait until no other process migrates this PostgreSQL database; on SQLite the migration's own lock does so."""
    if engine.dialect.name != "postgresql":
        yield
        return
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("SELECT pg_advisory_lock(:key)"), {"key": _MIGRATING})
        try:
            yield
        finally:
            connection.execute(text("SELECT pg_advisory_unlock(:key)"), {"key": _MIGRATING})


def _until_unlocked(migrate: Callable[[], None]) -> None:
    """Migrate, again where another process held SQLite for longer than its own patience: all is one transaction."""
    for _ in range(_TRIES - 1):
        try:
            return migrate()
        except OperationalError as error:
            if "locked" not in str(error.orig):
                raise
    return migrate()


def downgrade(engine: Engine, revision: str) -> None:
    """Take the migrations back to a revision; ``base`` is an empty database."""
    command.downgrade(config_for(engine), revision)


def knows_revision(revision: str) -> bool:
    """Tell whether a revision is one of those that this code knows."""
    return revision in {script.revision for script in ScriptDirectory.from_config(config_for()).walk_revisions()}
