"""The database of a command: there and up to date where it asks, and never made where nobody sees it."""

from pathlib import Path

from sqlalchemy import Engine

from ..store.db import get_engine
from ..store.revision import current_revision, newest_revision
from ..store.settings import get_settings
from .terminal import complain


def existing_database() -> Engine:
    """Return the engine of a database that is there and up to date; ValueError says what to do where it is not."""
    engine = existing_file()
    with engine.connect() as connection:
        found, newest = current_revision(connection), newest_revision()
    if found is None:
        raise ValueError(f"{database_in_words()} holds nothing yet: run baizebook migrate, or baizebook demo.")
    if found != newest:
        raise ValueError(f"The database is at revision {found}, this program at {newest}: run baizebook migrate.")
    return engine


def existing_file() -> Engine:
    """Return the engine of a database that is there, whatever is in it; ValueError says what to do where it is not."""
    engine = get_engine()
    if _is_missing():
        raise ValueError(
            f"There is no database {engine.url.database} in {Path.cwd()}. Go to the folder that holds it, name it in "
            "BAIZEBOOK_DATABASE_URL, or make one: baizebook demo, or baizebook migrate."
        )
    return engine


def tell_of_a_new_file() -> bool:
    """Say, on the error stream, that a database is about to be made, and where; return whether it is."""
    is_new = _is_missing()
    if is_new:
        complain(f"New database: {Path(str(get_engine().url.database)).absolute()}")
    return is_new


def database_in_words() -> str:
    """Return where the database is: its file, or its name and server; never a password."""
    url = get_engine().url
    if get_settings().on_sqlite:
        return str(Path(str(url.database)).absolute())
    return f"PostgreSQL, {url.database} on {url.host or 'this machine'}:{url.port or 5432}"


def _is_missing() -> bool:
    return get_settings().on_sqlite and not Path(str(get_engine().url.database)).exists()
