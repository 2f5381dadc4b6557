"""F17: every pair of operations that write to shared things, stepped statement by statement on PostgreSQL.

For each statement of the first: the first stops before it; the second runs to each of its own statements in turn, or as
far as it gets; the first runs to its end, then the second (two preemptions). The commit counts as a statement. However
the two met, what was stored or refused and all that is stored must be those of one after the other, in one of the two orders, and:
the books balance, no loan is negative, a venue has one currency, everything is settled and voided once at most, and a
table that has left the route takes nothing later.
"""

import itertools
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from random import Random
from threading import Condition, Thread
from typing import Any
from uuid import UUID

import baizebook.ledger.service
import baizebook.pool_tables.service
from baizebook.app import create_app
from baizebook.store.db import make_engine
from baizebook.venues.service import get_venue
from fastapi.testclient import TestClient
from sqlalchemy import Connection, Engine, create_engine, event, text

from tests.conftest import NOON
from tests.databases import OWNER_TOKEN, postgres_database, settings_for
from tests.faults.fault import Broken, Fault, check
from tests.faults.scene import OPERATIONS, Operation, Scene, make

_STUCK_S = 20
_END = 1_000_000


class Lane:
    """A service on a connection of its own, which answers one request statement by statement."""

    def __init__(self, url: str, watch: Connection) -> None:
        self.engine, self.watch = make_engine(settings_for(url)), watch
        app = create_app(settings_for(url), self.engine)
        app.state.clock = lambda: NOON
        headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
        self.client = TestClient(app, headers=headers, raise_server_exceptions=False)
        self.moved = Condition()
        self.allowed, self.used, self.waits, self.done, self.pid = _END, 0, False, True, 0
        self.status, self.answer = 0, False
        event.listen(self.engine, "before_cursor_execute", lambda conn, *_: self._gate(conn))
        event.listen(self.engine, "commit", self._gate)

    def _gate(self, connection: Connection) -> None:
        with self.moved:
            self.pid = connection.connection.dbapi_connection.info.backend_pid  # type: ignore[union-attr]
            while self.used >= self.allowed:
                self.waits = True
                self.moved.notify_all()
                self.moved.wait()
            self.waits = False
            self.used += 1

    def begin(self, request: tuple[str, str, Any, dict[str, str]]) -> None:
        """Begin to answer a request; it stops before its first statement."""
        self.allowed, self.used, self.waits, self.done = 0, 0, False, False
        Thread(target=self._answer, args=request, daemon=True).start()

    def _answer(self, method: str, path: str, body: Any, headers: dict[str, str]) -> None:
        response = self.client.request(method, path, json=body, headers=headers)
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
                check(turn * 0.002 < _STUCK_S, "a request neither goes on nor waits for a lock")
        raise AssertionError

    def _is_blocked(self) -> bool:
        query = text("SELECT wait_event_type = 'Lock' FROM pg_stat_activity WHERE pid = :pid")
        return bool(self.watch.execute(query, {"pid": self.pid}).scalar())


@dataclass(slots=True)
class Trials:
    """The two lanes on one database, and what was tried."""

    engine: Engine
    watch: Connection
    lanes: tuple[Lane, Lane]
    tried: int = 0
    pairs: int = 0
    uneven: list[str] = field(default_factory=list)

    def serially(self, first: Operation, second: Operation) -> Any:
        """Return answers and state after one request and then the other; the answer of ``first`` comes first."""
        scene = make(self.engine)
        answers = []
        for lane, operation in zip(self.lanes, (first, second), strict=True):
            lane.begin(operation.of(scene))
            lane.run_to(_END)
            answers.append(lane.answer)
        return tuple(answers), self.state(scene)

    def meet(self, first: Operation, second: Operation, *, at: int, then: int) -> tuple[Any, bool, bool]:
        """Let two requests meet; return answers with the state, and whether each has statements left where it stopped."""
        scene = make(self.engine)
        one, other = self.lanes
        one.begin(first.of(scene))
        one.run_to(at)
        one_stopped = not one.done
        other.begin(second.of(scene))
        blocked = other.run_to(then)
        other_stopped = not other.done and not blocked
        if one.run_to(_END):
            other.run_to(_END)
            one.run_to(_END)
        while not other.done:
            other.run_to(_END)
        while not one.done:
            one.run_to(_END)
        self.tried += 1
        return ((one.answer, other.answer), self.state(scene)), one_stopped, other_stopped

    def explore(self, first: Operation, second: Operation, *, at_most: int, chance: Random) -> None:
        """Let a pair meet in every way up to two preemptions, or in so many of them, drawn by chance."""
        self.pairs += 1
        orders = [self.serially(first, second)]
        (b, a), state = self.serially(second, first)
        orders.append(((a, b), state))
        for at, then in self._ways(first, second, at_most=at_most, chance=chance):
            ended, _, _ = self.meet(first, second, at=at, then=then)
            self._judge(first, second, ended, orders, at=at, then=then)

    def _ways(self, first: Operation, second: Operation, *, at_most: int, chance: Random) -> Iterator[tuple[int, int]]:
        lengths = []
        for operation in (first, second):
            lane = self.lanes[0]
            lane.begin(operation.of(make(self.engine)))
            lane.run_to(_END)
            lengths.append(lane.used)
        ways = [(at, then) for at in range(1, lengths[0]) for then in (*range(1, lengths[1]), _END)]
        yield from ways if len(ways) <= at_most else chance.sample(ways, at_most)

    def _judge(
        self, first: Operation, second: Operation, ended: Any, orders: Sequence[Any], *, at: int, then: int
    ) -> None:
        where = f"{first.name} ‖ {second.name}, stopped before statements {at} and {then}"
        statuses = [lane.status for lane in self.lanes]
        check(all(status < 500 for status in statuses), f"{where}: answered {statuses}")
        check(ended in orders, f"{where}: as in no order of the two: {_difference(ended, orders)}")

    def state(self, scene: Scene) -> dict[str, list[str]]:
        """Return all that is stored of a scene, with names in place of ids; raise where an invariant does not hold."""
        names = {str(id_): name for name, id_ in scene.items()}
        known = {"ids": list(scene.values())}
        found: dict[str, list[str]] = {}
        for table, where in _OF_THE_SCENE.items():
            rows = self.watch.execute(text(f"SELECT * FROM {table} WHERE {where}"), known).mappings()
            found[table] = sorted(_plain(row, names) for row in rows)
        for says, query in _INVARIANTS.items():
            broken = self.watch.execute(text(query), known).first()
            check(broken is None, f"{says}: {broken}")
        return found


_ENTRIES = "SELECT entry_number FROM ledger_posting WHERE venue_id = ANY(:ids)"
_OF_THE_SCENE = {
    "venue": "id = ANY(:ids)",
    "venue_fact": "venue_id = ANY(:ids)",
    "pool_table": "id = ANY(:ids) OR venue_id = ANY(:ids)",
    "stay": "venue_id = ANY(:ids) OR pool_table_id = ANY(:ids)",
    "schedule": "venue_id = ANY(:ids)",
    "keying": "pool_table_id = ANY(:ids)",
    "keying_void": "keying_id = ANY(:ids)",
    "agreement": "venue_id = ANY(:ids)",
    "collection": "venue_id = ANY(:ids)",
    "collected_table": "pool_table_id = ANY(:ids)",
    "settlement": "venue_id = ANY(:ids)",
    "reversal": "venue_id = ANY(:ids)",
    "dispute": "collection_id = ANY(:ids)",
    "dispute_answer": "dispute_id = ANY(:ids)",
    "ledger_entry": f"number IN ({_ENTRIES})",
    "ledger_posting": f"entry_number IN ({_ENTRIES})",
    "reading": "pool_table_id = ANY(:ids)",
    "reading_void": "reading_id = ANY(:ids)",
    "retirement": "pool_table_id = ANY(:ids)",
    "job": "pool_table_id = ANY(:ids)",
    "job_step": "job_id = ANY(:ids)",
    "job_done": "job_id = ANY(:ids)",
    "job_part": "job_id = ANY(:ids)",
}
_INVARIANTS = {
    "an entry does not balance": (
        "SELECT entry_number, sum(amount_minor) FROM ledger_posting WHERE entry_number IN "
        f"({_ENTRIES}) GROUP BY entry_number HAVING sum(amount_minor) <> 0"
    ),
    "a loan is negative": (
        "SELECT venue_id, sum(amount_minor) FROM ledger_posting WHERE account = 'venue_loans' AND venue_id = ANY(:ids) "
        "GROUP BY venue_id HAVING sum(amount_minor) < 0"
    ),
    "a venue has two currencies": (
        "SELECT venue.id FROM venue JOIN agreement ON agreement.venue_id = venue.id "
        "WHERE venue.id = ANY(:ids) AND agreement.currency <> venue.currency UNION ALL "
        "SELECT venue.id FROM venue JOIN schedule ON schedule.venue_id = venue.id "
        "JOIN tariff ON tariff.id::text = schedule.terms->>'base' "
        "WHERE venue.id = ANY(:ids) AND tariff.currency <> venue.currency UNION ALL "
        "SELECT a.venue_id FROM stay a JOIN venue va ON va.id = a.venue_id JOIN stay b ON b.pool_table_id = "
        "a.pool_table_id JOIN venue vb ON vb.id = b.venue_id WHERE a.venue_id = ANY(:ids) AND va.currency <> vb.currency"
        " UNION ALL SELECT p.venue_id FROM ledger_posting p JOIN ledger_entry e ON e.number = p.entry_number "
        "JOIN venue ON venue.id = p.venue_id WHERE venue.id = ANY(:ids) AND e.currency <> venue.currency"
    ),
    "a collection is settled twice": (
        "SELECT collection_id FROM settlement WHERE venue_id = ANY(:ids) GROUP BY collection_id HAVING count(*) > 1"
    ),
    "an entry is reversed twice": (
        "SELECT source_id FROM ledger_entry WHERE kind = 'reversal' AND source_id = ANY(:ids) "
        "GROUP BY source_id HAVING count(*) > 1"
    ),
    "a table is at two places": (
        "SELECT pool_table_id FROM stay WHERE to_at IS NULL AND pool_table_id = ANY(:ids) "
        "GROUP BY pool_table_id HAVING count(*) > 1"
    ),
    "a table that has left took something later": (
        "SELECT r.pool_table_id FROM retirement r JOIN stay s ON s.id = r.stay_id WHERE s.voided_at IS NULL "
        "AND r.pool_table_id = ANY(:ids) AND (EXISTS (SELECT 1 FROM reading x WHERE x.pool_table_id = r.pool_table_id "
        "AND x.taken_at > r.retired_at) OR EXISTS (SELECT 1 FROM keying x WHERE x.pool_table_id = r.pool_table_id "
        "AND x.keyed_at > r.retired_at) OR EXISTS (SELECT 1 FROM job x WHERE x.pool_table_id = r.pool_table_id "
        "AND x.reported_at > r.retired_at))"
    ),
    "a venue that has left has a table or a later schedule": (
        "SELECT venue.id FROM venue WHERE departed_on IS NOT NULL AND venue.id = ANY(:ids) AND (EXISTS "
        "(SELECT 1 FROM pool_table t WHERE t.venue_id = venue.id) OR EXISTS "
        "(SELECT 1 FROM schedule s WHERE s.venue_id = venue.id AND s.effective_on > venue.departed_on))"
    ),
}
_SAY_NOTHING = {
    *(
        "sequence",
        "arrival",
        "number",
        "entry_number",
        "hash",
        "previous_hash",
        "source_digest",
        "facts_digest",
        "record_id",
        "books_name",
    ),
    "name",
}
"""Columns that tell one scene from another, or the order in which two that do not concern each other came."""


def _plain(row: Any, names: dict[str, str]) -> str:
    values = {
        column: names.get(str(value), "an id") if isinstance(value, UUID) else value
        for column, value in row.items()
        if column not in _SAY_NOTHING
    }
    text_ = repr(sorted(values.items(), key=lambda item: item[0]))
    for id_, name in names.items():
        text_ = text_.replace(id_, name)
    return text_


def _difference(ended: Any, orders: Sequence[Any]) -> str:
    answers, state = ended
    said = [f"answers {answers}, in order {[order[0] for order in orders]}"]
    for table, rows in state.items():
        others = [order[1][table] for order in orders]
        if rows not in others:
            said.append(f"{table}: {rows} and not {others}")
    return "; ".join(said)[:4000]


@contextmanager
def trials() -> Iterator[Trials]:
    """Yield two lanes on a fresh database."""
    with postgres_database() as url:
        engine = make_engine(settings_for(url))
        watching = create_engine(url, isolation_level="AUTOCOMMIT")
        with watching.connect() as watch:
            name = watch.execute(text("SELECT current_database()")).scalar()
            watch.execute(text(f"ALTER DATABASE \"{name}\" SET deadlock_timeout = '50ms'"))
            lanes = (Lane(url, watch), Lane(url, watch))
            yield Trials(engine, watch, lanes)
            for lane in lanes:
                lane.engine.dispose()
        watching.dispose()
        engine.dispose()


def pairs() -> list[tuple[Operation, Operation]]:
    """Return every ordered pair of operations, an operation with itself too."""
    return list(itertools.product(OPERATIONS, repeat=2))


def run(chance: Random, rounds: int) -> str:
    """Let so many pairs meet, drawn by chance; all of them where there are no more."""
    every = pairs()
    chosen = every if rounds >= len(every) else chance.sample(every, rounds)
    found: list[str] = []
    with trials() as trials_:
        for first, second in chosen:
            try:
                trials_.explore(first, second, at_most=_END if rounds >= len(every) else 12, chance=chance)
            except Broken as broken:
                found.append(str(broken))
                if rounds < len(every):
                    raise
    if found:
        raise Broken(f"{len(found)} pairs of {len(chosen)}:\n" + "\n".join(found))
    return f"{trials_.pairs} pairs of {len(every)}, {trials_.tried} ways: each as in one of the two orders"


def control(chance: Random) -> None:
    """Planted, each alone: a loan's balance read without the lock; a venue's currency read without the lock."""
    by_name = {operation.name: operation for operation in OPERATIONS}
    planted: tuple[tuple[Any, str, Callable[..., Any], str, str], ...] = (
        (baizebook.ledger.service, "lock_accounts", lambda *_: None, "write off", "collect"),
        (
            baizebook.pool_tables.service,
            "lock_venue",
            get_venue,
            "make a table in the bare venue",
            "change the bare venue's currency",
        ),
    )
    said = []
    with trials() as trials_:
        for module, name, careless, first, second in planted:
            proper = getattr(module, name)
            setattr(module, name, careless)
            try:
                trials_.explore(by_name[first], by_name[second], at_most=_END, chance=chance)
            except Broken as broken:
                said.append(str(broken)[:120])
            else:
                return  # a plant that was not found: this control proves nothing
            finally:
                setattr(module, name, proper)
    raise Broken(" and ".join(said))


FAULT = Fault(name="F17", says="pairs that meet at any statement", run=run, control=control, short=3, long=2_500)
