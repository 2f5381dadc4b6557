"""Brings the database to the newest revision, by the migrations that ship with the package."""

from functools import cache
from importlib.resources import files

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine

_HOME = files("baizebook.migrations")


def config_for(engine: Engine | None = None) -> Config:
    """Return Alembic's configuration, on an engine where something is to be run."""
    config = Config()
    config.set_main_option("script_location", str(_HOME).replace("%", "%%"))
    config.set_main_option("file_template", "%%(year)d%%(month).2d%%(day).2d_%%(slug)s")
    config.attributes["engine"] = engine
    return config


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Apply the migrations up to a revision."""
    command.upgrade(config_for(engine), revision)


def downgrade(engine: Engine, revision: str) -> None:
    """Take the migrations back to a revision; ``base`` is an empty database."""
    command.downgrade(config_for(engine), revision)


def current_revision(connection: Connection) -> str | None:
    """Return the revision that a database is at, or None where there is none yet."""
    return MigrationContext.configure(connection).get_current_revision()


def knows_revision(revision: str) -> bool:
    """Tell whether a revision is one of those that this code knows."""
    return revision in {script.revision for script in ScriptDirectory.from_config(config_for()).walk_revisions()}


@cache
def newest_revision() -> str:
    """Return the newest revision that this code knows."""
    revision = ScriptDirectory.from_config(config_for()).get_current_head()
    assert revision is not None
    return revision
