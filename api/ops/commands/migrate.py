"""``baizebook migrate``: update the database, or make it."""

from ...store.db import get_engine
from ...store.migrate import newest_revision, upgrade
from ..terminal import say


def migrate() -> None:
    """Bring the database to the newest revision."""
    upgrade(get_engine())
    say(f"The database is at revision {newest_revision()}.")
