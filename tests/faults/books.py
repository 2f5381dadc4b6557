"""What is in a database, looked at cold: not through the service that wrote it."""

from collections import Counter
from contextlib import closing
from dataclasses import dataclass
from typing import Any

from baizebook.ledger.queries import check_ledger
from baizebook.store.db import make_engine, reading, sqlite_driver
from sqlalchemy import make_url, text

from tests.databases import settings_for
from tests.faults.fault import check


@dataclass(frozen=True, slots=True)
class Books:
    """The ids of readings and collections that are stored, and how many entries each collection and all of the ledger have."""

    readings: frozenset[str]
    collections: frozenset[str]
    entries_of: Counter[str]
    entries: int


def look(url: str) -> Books:
    """Open a database cold: it is sound, its books balance, their chain holds, no collection has two entries."""
    if url.startswith("sqlite"):
        _check_file(str(make_url(url).database))
    engine = make_engine(settings_for(url))
    try:
        with reading(engine) as session:

            def column(query: str) -> list[Any]:
                return [str(value) for value in session.connection().execute(text(query)).scalars()]

            uneven = column("SELECT entry_number FROM ledger_posting GROUP BY 1 HAVING sum(amount_minor) <> 0")
            check(not uneven, f"entries that do not balance: {uneven[:5]}")
            verdict = check_ledger(session)
            check(verdict.ok, f"the chain does not hold from entry {verdict.first_bad}")
            sources = "SELECT source_id FROM ledger_entry WHERE kind = 'collection'"
            books = Books(
                frozenset(map(plain, column("SELECT id FROM reading"))),
                frozenset(map(plain, column("SELECT id FROM collection"))),
                Counter(map(plain, column(sources))),
                int(verdict.entries),
            )
    finally:
        engine.dispose()
    twice = [id_ for id_, number in books.entries_of.items() if number > 1]
    check(not twice, f"collections posted twice: {twice[:5]}")
    check(set(books.entries_of) == books.collections, "not every collection has its entry")
    return books


def plain(id_: object) -> str:
    """Return an id as both databases write it: 32 digits."""
    return str(id_).replace("-", "")


def _check_file(path: str) -> None:
    with closing(sqlite_driver().connect(path)) as cold:
        found = cold.execute("PRAGMA integrity_check").fetchone()[0]
    check(found == "ok", f"the file is damaged: {found}")
