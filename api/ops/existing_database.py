"""The database of a command that asks or adds: it is there and up to date, or the command says what to do."""

from pathlib import Path

from sqlalchemy import Engine

from ..store.db import get_engine
from ..store.migrate import current_revision, newest_revision
from ..store.settings import get_settings


def existing_database() -> Engine:
    """Return the engine of a database that is there and up to date; ValueError says what to do where it is not."""
    settings, engine = get_settings(), get_engine()
    if settings.on_sqlite and not Path(str(engine.url.database)).is_file():
        raise ValueError(
            f"There is no database {engine.url.database} in {Path.cwd()}. Go to the folder that holds it, name it in "
            "BAIZEBOOK_DATABASE_URL, or make one: baizebook demo, or baizebook migrate."
        )
    with engine.connect() as connection:
        found, newest = current_revision(connection), newest_revision()
    if found != newest:
        raise ValueError(f"The database is at revision {found}, this program at {newest}: run baizebook migrate.")
    return engine
