"""``baizebook migrate``: update the database, or make it."""

from ...store.db import get_engine
from ...store.migrate import upgrade
from ...store.revision import newest_revision
from ..command_database import tell_of_a_new_file
from ..terminal import say


def migrate() -> None:
    """Bring the database to the newest revision."""
    tell_of_a_new_file()
    upgrade(get_engine())
    say(f"The database is at revision {newest_revision()}.")
