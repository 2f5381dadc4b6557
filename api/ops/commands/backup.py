"""``baizebook backup`` and ``baizebook restore``: a verified copy of the database, and the way back."""

from pathlib import Path

from ...store.db import get_engine
from ...store.settings import get_settings
from .. import backup as backups
from ..command_database import existing_file
from ..terminal import progress_bar, say


def backup(*, file: Path) -> None:
    """Write a backup and say what is in it."""
    engine = existing_file()
    with progress_bar("Backing up") as step:
        said = backups.back_up(get_settings(), engine, file, step=step)
    say(f"{file}: {said}.")


def restore(*, file: Path, force: bool) -> None:
    """Restore a backup and say what is in it."""
    said = backups.restore(get_settings(), get_engine(), file, force=force)
    say(f"The database is that of {file}: {said}.")
