"""Why a database cannot be used, in one sentence with what to do: SQLite's and PostgreSQL's reasons, in words.

``trouble_in_words`` knows what the surroundings can do to a command; an error that is none of those is a mistake of ours.
"""

import os
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import DBAPIError, OperationalError

from ..store.settings import get_settings

_RESTORE = "Keep a copy of the file, then restore a backup: baizebook restore."
_SQLITE = {
    "file is not a database": "{file} is not a database of SQLite. Name the right file in BAIZEBOOK_DATABASE_URL, "
    "or restore a backup: baizebook restore.",
    "malformed": f"{{file}} is damaged: {{reason}}. {_RESTORE}",
    "disk i/o error": "The disk does not read or write {file}. Look at the disk, and keep a copy of the file.",
    "readonly": "{file} cannot be written: this user needs the right to write the file and its folder.",
    "locked": "Another program is writing {file}. Try again, or stop that program.",
    "is full": "The disk that holds {file} is full.",
}
"""What SQLite says, by a part of it (sqlite.org/rescode.html), and what to say."""
_NO_RIGHT = "42501"
"""insufficient_privilege (PostgreSQL, appendix A)."""
_REASON_MAX = 300


def trouble_in_words(error: Exception) -> str | None:
    """Return the reason and the remedy; None where the error is not the database's surroundings but a mistake of ours."""
    url = make_url(get_settings().database_url)
    told = error.orig if isinstance(error, DBAPIError) else error
    reason = (str(told).strip().splitlines() or [""])[0][:_REASON_MAX]
    if url.get_backend_name() == "sqlite":
        return _sqlite(Path(str(url.database)), reason)
    away = isinstance(error, OperationalError)
    return _postgresql(url, reason, state=getattr(told, "sqlstate", None), away=away)


def _sqlite(file: Path, reason: str) -> str | None:
    if "unable to open" in reason:
        return _unopened(file)
    words = next((words for part, words in _SQLITE.items() if part in reason.lower()), None)
    return None if words is None else words.format(file=file, reason=reason)


def _unopened(file: Path) -> str:
    """Say why SQLite cannot open a file: it does not say so itself."""
    folder = file.absolute().parent
    if file.is_dir():
        why = f"it is a folder. Name a file in it, such as {file / 'baizebook.db'}."
    elif not folder.is_dir():
        why = f"there is no folder {folder}. Make it, or name another file in BAIZEBOOK_DATABASE_URL."
    elif not os.access(folder, os.W_OK | os.X_OK, effective_ids=os.access in os.supports_effective_ids):
        why = f"this user has no right to write in {folder}."
    else:
        why = "this user has no right to read it, or too many files are open."
    return f"The database {file} cannot be opened: {why}"


def _postgresql(url: URL, reason: str, *, state: str | None, away: bool) -> str | None:
    if state == _NO_RIGHT:
        return (
            f"PostgreSQL refuses the role {url.username}: {reason}. Run baizebook migrate as the role that owns the tables, "
            "and give this one the rights that the guide names."
        )
    if f'database "{url.database}" does not exist' in reason:
        return f"PostgreSQL has no database {url.database}: make it, with createdb {url.database} for example."
    return f"PostgreSQL at {url.host or 'this machine'}:{url.port or 5432} does not answer: {reason}." if away else None
