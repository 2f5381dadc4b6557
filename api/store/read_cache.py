"""What was read from the database, kept in memory while nothing in the database has changed.

- Nothing is kept that a look at the database has not confirmed within ``look_every_s`` seconds. SQLite is looked at every
  time, which takes microseconds; PostgreSQL once a second. So what another process wrote shows after a second at most,
  and what this process wrote shows at once.
- A look asks whether anything was committed: SQLite's ``data_version``, PostgreSQL's snapshot of transactions. Whatever was
  committed, everything kept is dropped: no writer has to remember to say what it changed.
- What a reader puts in is kept only if no look has found a change since its reading began.
- At most ``entries_max`` things are kept; the one that was used least recently goes first.
"""

import time
from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock
from typing import Any

from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

LOOK_EVERY_S = 1.0
CACHED_MAX = 4096


class ReadCache:
    """Things read from one database, by key. Safe to use from several threads."""

    def __init__(self, engine: Engine, *, look_every_s: float = LOOK_EVERY_S, entries_max: int = CACHED_MAX) -> None:
        self._engine, self._look_every_s, self._entries_max = engine, look_every_s, entries_max
        self._sqlite: Any = None
        self._cursor: Any = None
        self._lock = Lock()
        self._entries: OrderedDict[Hashable, Any] = OrderedDict()
        self._seen: object = None
        self._number = self._writes = 0
        self._looked_at = float("-inf")

    @property
    def needs_thread(self) -> bool:
        """Tell whether the next use needs a look that may take long: it is then for a thread."""
        on_sqlite = self._engine.dialect.name == "sqlite"
        return self._sqlite is None if on_sqlite else time.monotonic() - self._looked_at >= self._look_every_s

    def look(self) -> int:
        """Look at the database if it is time, drop what is kept if anything changed; return the number of the state."""
        if self._engine.dialect.name == "sqlite" or time.monotonic() - self._looked_at >= self._look_every_s:
            began, writes = time.monotonic(), self._writes
            with self._lock:
                found = self._state()
                if found != self._seen:
                    self._seen, self._number = found, self._number + 1
                    self._entries.clear()
                self._looked_at = began if writes == self._writes else float("-inf")
        return self._number

    def get(self, key: Hashable) -> Any:
        """Return what is kept under a key, or None."""
        with self._lock:
            if key in self._entries:
                self._entries.move_to_end(key)
            return self._entries.get(key)

    def put(self, key: Hashable, value: Any, *, read_at: int) -> None:
        """Keep a value that was read after the look that returned ``read_at``."""
        with self._lock:
            if read_at == self._number:
                self._entries[key] = value
                if len(self._entries) > self._entries_max:
                    self._entries.popitem(last=False)

    def written(self) -> None:
        """Make the next use look: this process has just committed something."""
        self._writes += 1
        self._looked_at = float("-inf")

    def close(self) -> None:
        """Close the connection that looks."""
        with self._lock:
            if self._sqlite is not None:
                self._sqlite.close()
                self._sqlite = None

    def _state(self) -> object:
        """Return what differs after each commit of anybody else."""
        try:
            return self._data_version() if self._engine.dialect.name == "sqlite" else self._snapshot()
        except (DBAPIError, self._engine.dialect.loaded_dbapi.Error):
            return object()  # equal to nothing: whoever reads the database next meets what is wrong with it

    def _data_version(self) -> int:
        if self._sqlite is None:
            self._sqlite = self._engine.raw_connection()
            self._sqlite.detach()  # a connection of its own, for data_version tells of others' commits only
            self._cursor = self._sqlite.cursor()
        found: int = self._cursor.execute("PRAGMA data_version").fetchall()[0][0]
        return found

    def _snapshot(self) -> str:
        with self._engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            return str(connection.exec_driver_sql("SELECT pg_current_snapshot()::text").scalar_one())


class NotCached(Exception):
    """What is asked for is not kept in memory."""


class NoSession:
    """Stands where a session would: whatever is asked of it is not kept."""

    def __getattr__(self, name: str) -> Any:
        raise NotCached(name)
