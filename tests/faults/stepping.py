"""A service that answers one request statement by statement on PostgreSQL, and what each of its statements takes.

A statement *reads*, *writes* rows of a table, or *locks*: an advisory lock, or the row of a counter, both of which are
held until the transaction ends. The commit is the last statement.
"""

import itertools
import re
from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property
from threading import Condition, Thread
from typing import Any

from baizebook.app import create_app
from baizebook.store.db import make_engine
from fastapi.testclient import TestClient
from sqlalchemy import Connection, event, text
from sqlmodel import SQLModel

from tests.conftest import NOON
from tests.databases import OWNER_TOKEN, settings_for
from tests.faults.fault import check
from tests.faults.scene import Request

STUCK_S = 20
END = 1_000_000
COMMIT = "COMMIT"


@dataclass(frozen=True)
class Statement:
    """One statement that a request sent, with its parameters."""

    sql: str
    parameters: Any = None
    many: bool = False

    @cached_property
    def verb(self) -> str:
        """Return ``SELECT``, ``INSERT``, ``UPDATE``, ``DELETE``, or another first word."""
        return self.sql.split(None, 1)[0].upper()

    @cached_property
    def tables(self) -> frozenset[str]:
        """Return every table whose name occurs in it."""
        words = set(re.findall(r"\w+", self.sql))
        return frozenset(words & set(SQLModel.metadata.tables))

    @cached_property
    def locks(self) -> frozenset[object]:
        """Return the locks that it takes until the transaction ends."""
        if "pg_advisory_xact_lock" in self.sql:
            keys = next(iter(self.parameters.values()))
            return frozenset(keys if isinstance(keys, list) else [keys])
        check("advisory" not in self.sql, f"an advisory lock that this test does not know: {self.sql}")
        return frozenset([self.parameters["name"]] if self.sql.startswith("INSERT INTO counter") else [])

    @cached_property
    def written(self) -> str | None:
        """Return the table whose rows it writes, or locks for writing; None where it writes none."""
        if self.locks:
            return None
        found = re.match(r"\s*(?:INSERT INTO|UPDATE|DELETE FROM) (\w+)", self.sql)
        if found is None and (self.verb not in ("SELECT", "WITH") or " FOR " in self.sql):
            found = re.search(r"FROM (\w+)[\s\S]* FOR (?:NO KEY )?(?:UPDATE|KEY SHARE|SHARE)", self.sql)
        return found[1] if found else None

    @property
    def reads(self) -> bool:
        return self.verb in ("SELECT", "WITH") and not self.locks and self.written is None


class Lane:
    """A service on a connection of its own, which answers one request statement by statement."""

    def __init__(self, url: str, watch: Connection) -> None:
        self.engine, self.watch = make_engine(settings_for(url)), watch
        app = create_app(settings_for(url), self.engine)
        app.state.clock = lambda: NOON
        headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
        self.client = TestClient(app, headers=headers, raise_server_exceptions=False)
        self.moved = Condition()
        self.allowed, self.used, self.waits, self.done, self.pid = END, 0, False, True, 0
        self.status, self.answer = 0, False
        self.said: list[Statement] = []
        event.listen(self.engine, "before_cursor_execute", self._before)
        event.listen(self.engine, "commit", lambda connection: self._gate(connection, Statement(COMMIT)))

    def _before(
        self, connection: Connection, _cursor: Any, sql: str, parameters: Any, _context: Any, many: bool
    ) -> None:
        self._gate(connection, Statement(sql, parameters, many))

    def _gate(self, connection: Connection, statement: Statement) -> None:
        with self.moved:
            self.pid = connection.connection.dbapi_connection.info.backend_pid  # type: ignore[union-attr]
            while self.used >= self.allowed:
                self.waits = True
                self.moved.notify_all()
                self.moved.wait()
            self.waits = False
            self.used += 1
            self.said.append(statement)

    def begin(self, request: Request) -> None:
        """Begin to answer a request; it stops before its first statement."""
        self.allowed, self.used, self.waits, self.done, self.said = 0, 0, False, False, []
        Thread(target=self._answer, args=(request,), daemon=True).start()

    def _answer(self, request: Request) -> None:
        response = request.send(self.client)
        with self.moved:
            self.status, self.answer, self.done = response.status_code, response.is_success, True
            self.moved.notify_all()

    def run_to(self, statement: int) -> bool:
        """Go on until the statement of this number is next, or to the end; tell whether it is blocked before."""
        with self.moved:
            self.allowed = statement
            self.waits = False
            self.moved.notify_all()
            for turn in itertools.count():
                if self.done or (self.waits and self.used >= self.allowed):
                    return False
                self.moved.wait(0.002)
                if turn % 3 == 2 and not self.done and not self.waits and self._is_blocked():
                    return True
                check(turn * 0.002 < STUCK_S, "a request neither goes on nor waits for a lock")
        raise AssertionError

    def _is_blocked(self) -> bool:
        query = text("SELECT wait_event_type = 'Lock' FROM pg_stat_activity WHERE pid = :pid")
        return bool(self.watch.execute(query, {"pid": self.pid}).scalar())


@dataclass(frozen=True, slots=True)
class Trace:
    """What a request does alone on the scene: its statements, what each finds, and what it leaves changed."""

    statements: list[Statement]
    found: list[Any]
    """The rows that each statement finds; None of what finds none."""
    changed: frozenset[str]
    """The tables whose rows are others afterwards."""
    keys: frozenset[tuple[str, ...]]
    """The values of unique keys that new rows have, each with its table and index."""
    ok: bool
    """Whether it succeeds."""


Sees = Collection[int]
"""The numbers of statements that see what the other has committed."""


@dataclass(frozen=True, slots=True)
class Meeting:
    """Two traces, and which of their statements cannot be swapped.

    ``first_sees``: which statements of the first give another result after the second has committed; ``second_sees``
    likewise. ``clash``: pairs of statements of which one may wait for the other's row.
    """

    first: Trace
    second: Trace
    first_sees: Sees
    second_sees: Sees
    clash: frozenset[tuple[int, int]]

    def ways(self, known: set[object], *, swapped: bool = False) -> list[tuple[int, int]]:
        """Return where the first and the second stop: one way of each kind that is like no order and not ``known``.

        What is found is known afterwards; ``swapped`` where the pair was asked for the other way round before.
        """
        ends = (len(self.first.statements), len(self.second.statements))
        for at in (0, ends[0]):
            known.add(self._kind(at, END, swapped=swapped))
        found = {}
        for then in (END, *range(ends[1] - 1, 0, -1)):
            for at in range(ends[0] - 1, 0, -1):
                kind = self._kind(at, then, swapped=swapped)
                if kind not in known:
                    found[kind] = at, then  # the last to be found is the earliest stop
        known.update(found)
        return sorted(found.values())

    def _kind(self, at: int, then: int, *, swapped: bool) -> object:
        """Return who commits first, what the other finds after it, and which of two that clash comes first.

        It is the same for every way that cannot differ, whichever of the two is called the first.
        """
        who, sees, before = self._meet(at, then)
        if swapped:
            return not who if isinstance(who, bool) else who, sees, frozenset((j, i) for i, j in self.clash - before)
        return who, sees, before

    def _meet(self, at: int, then: int) -> tuple[object, object, frozenset[tuple[int, int]]]:
        first, second = self.first.statements, self.second.statements
        if at == len(first):  # it has committed, so it holds no lock any more
            return True, frozenset(self.second_sees), self.clash
        reached = _until(second, min(then, len(second)), _locks(first[:at]))
        if reached == len(second):
            return self._second_commits(at, at, reached)
        blocked = _until(first, len(first), _locks(second[:reached]), start=at)
        if blocked == len(first):
            before = frozenset((i, j) for i, j in self.clash if i < at or j >= reached)
            return True, frozenset(j for j in self.second_sees if j >= reached), before
        again = reached
        if reached == min(then, len(second)):
            again = _until(second, len(second), _locks(first[:blocked]), start=reached)
        if again < len(second):
            return "deadlock", first[blocked].locks | second[again].locks, frozenset()
        return self._second_commits(at, blocked, reached)

    def _second_commits(self, at: int, blocked: int, reached: int) -> tuple[object, object, frozenset[tuple[int, int]]]:
        """Return the kind where the second commits before the first goes on from its statement ``blocked``."""
        before = frozenset((i, j) for i, j in self.clash if i < at or (i < blocked and j >= reached))
        return False, frozenset(i for i in self.first_sees if i >= blocked), before


def _locks(statements: Collection[Statement]) -> set[object]:
    return {lock for statement in statements for lock in statement.locks}


def _until(statements: list[Statement], stop: int, held: set[object], *, start: int = 0) -> int:
    """Return the number of the next statement that waits for a lock that is held, ``stop`` where none does."""
    return next((n for n in range(start, stop) if statements[n].locks & held), stop)
