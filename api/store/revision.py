"""The revision that a database is at, and the newest that this code knows; read without Alembic, which takes long to load."""

import re
from functools import cache
from importlib.resources import files

from sqlalchemy import Connection, inspect, text

_NAMED = re.compile(r"^(down_)?revision\b[^=]*= *[\"']([^\"']+)[\"']", re.MULTILINE)


def current_revision(connection: Connection) -> str | None:
    """Return the revision that a database is at, or None where there is none yet."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return found


@cache
def newest_revision() -> str:
    """Return the newest revision that this code knows: the one migration that no other names as the one before it."""
    scripts = [
        file.read_text() for file in files("baizebook.migrations.versions").iterdir() if file.name.endswith(".py")
    ]
    named = [match.groups() for script in scripts for match in _NAMED.finditer(script)]
    newest = {name for is_before, name in named if not is_before} - {name for is_before, name in named if is_before}
    if len(newest) != 1:
        raise RuntimeError(f"expected one newest migration, found {sorted(newest)}")
    return newest.pop()
