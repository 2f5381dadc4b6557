"""F17: every pair of operations that write, stepped statement by statement on PostgreSQL.

The first stops before a statement; the second runs to one of its own, to where it waits for a lock, or to its end; the
first runs to its end, then the second (two preemptions). The commit counts as a statement. However the two met, what
was answered and all that is stored must be those of one after the other, in one of the two orders, and: the books
balance, no loan is negative, a venue has one currency, everything is settled and voided once at most, and a table that
has left the route takes nothing later.

Of ways that cannot differ, one is tried (``stepping.Meeting``). Until the first has committed or the second has, both
do what they do alone, statement by statement, except that one may wait for the other. So only these orders matter:

- a statement and the other's commit, where it finds something else after it: each is asked again, alone, on what the
  other leaves behind, and what it finds is compared;
- two statements that take the same advisory lock or counter: the second waits for the end of the first's transaction;
- two statements that write rows of one table, or a row and one that it names.

A way that has all of them in the order of one after the other is left out, and so is a pair without any: it cannot end
otherwise. Some of the ways left out are tried all the same (``PASSED_BY``), to show that. An operation that wrote in
several transactions would need more, so it is refused.

Two things may differ from either order. Recording never waits for a webhook, so the outbox is not compared where an
endpoint changes meanwhile. The worklist judges on a snapshot, and again where something was recorded since: it is read
once more before what is stored is compared, and the feed of work may name work that came and went in between.
"""

import itertools
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from random import Random
from typing import Any

import baizebook.ledger.service
import baizebook.pool_tables.service
from baizebook.store.db import make_engine
from baizebook.venues.service import get_venue
from sqlalchemy import Connection, create_engine, text

from tests.databases import postgres_database, settings_for
from tests.faults.fault import Broken, Fault, check
from tests.faults.one_scene import OneScene, clash
from tests.faults.scene import OPERATIONS, Operation, Scene, make
from tests.faults.stepping import COMMIT, END, Lane, Meeting, Trace

PASSED_BY = 1_000
"""Of so many ways that are left out, one is tried."""

LEAVES_ALL = frozenset({"send a delivery again", "make a table in the gone venue"})
"""Operations that change nothing on the scene as it is, only together with others."""

Outcome = tuple[tuple[bool, bool], Any]
"""Which of the two succeeded, and what is stored."""


class Trials:
    """The two lanes on one scene, what each operation does alone, and what was tried."""

    def __init__(self, url: str, watch: Connection) -> None:
        self.watch = watch
        self.lanes = (Lane(url, watch), Lane(url, watch))
        engine = make_engine(settings_for(url))
        self.scene: Scene = make(engine, self.lanes[0].client)
        engine.dispose()
        self.one = OneScene(watch, self.scene)
        self.ways = self.pairs = self.left_out = 0
        self._alone: dict[str, Trace] = {}
        self._seen: dict[tuple[str, str], frozenset[int]] = {}
        self._orders: dict[tuple[str, str], Outcome] = {}

    def alone(self, operation: Operation) -> Trace:
        """Return what an operation does alone."""
        if operation.name not in self._alone:
            lane = self.lanes[0]
            self.one.begin_again()
            lane.begin(operation.of(self.scene))
            lane.run_to(END)
            check(lane.status < 500, f"{operation.name} alone: answered {lane.status}")
            statements = list(lane.said)
            commits = [n for n, statement in enumerate(statements) if statement.verb == COMMIT]
            before = statements[: commits[-2]] if len(commits) > 1 else []
            writes = any(statement.written for statement in before)
            check(not writes, f"{operation.name} writes in more than one transaction: its kinds of ways are not known")
            changed, keys = frozenset(self.one.changed()), self.one.new_keys()
            check(bool(changed) != (operation.name in LEAVES_ALL), f"{operation.name} alone: changed {set(changed)}")
            self.one.begin_again()
            found = self.one.replay(statements)
            self._alone[operation.name] = Trace(statements, found, changed, keys, ok=lane.answer)
        return self._alone[operation.name]

    def learn(self, operations: Sequence[Operation]) -> None:
        """Find out, for each two operations, which statements of the one find something else after the other."""
        for operation in operations:
            self.alone(operation)
        for after in operations:
            changed = self.alone(after).changed
            if changed:
                self.one.begin_again()
                self.lanes[0].begin(after.of(self.scene))
                self.lanes[0].run_to(END)
            for operation in operations:
                self._seen[operation.name, after.name] = self._sees(self.alone(operation), changed)
        self.one.begin_again()

    def _sees(self, trace: Trace, changed: frozenset[str]) -> frozenset[int]:
        if not any(statement.tables & changed for statement in trace.statements):
            again = trace.found
        else:
            again = self.one.replay(trace.statements)
        return frozenset(
            number
            for number, statement in enumerate(trace.statements)
            if not statement.locks and (again[number] != trace.found[number] or self.one.sees(statement, changed))
        )

    def meeting(self, first: Operation, second: Operation) -> Meeting:
        """Return what cannot be swapped in a pair that was learnt."""
        one, other = self.alone(first), self.alone(second)
        same_tables = {key[0] for key in one.keys & other.keys}
        unsure = not (one.ok and other.ok)
        clashes = frozenset(
            (i, j)
            for i, a in enumerate(one.statements)
            if a.written
            for j, b in enumerate(other.statements)
            if clash(a, b, same_key=unsure or a.written in same_tables)
        )
        first_sees, second_sees = self._seen[first.name, second.name], self._seen[second.name, first.name]
        return Meeting(one, other, first_sees, second_sees, clashes)

    def after(self, first: Operation, second: Operation) -> Outcome:
        """Return how one after the other ends; the answer of ``first`` comes first."""
        names = first.name, second.name
        if names not in self._orders:
            self.one.begin_again()
            answers = []
            for lane, operation in zip(self.lanes, (first, second), strict=True):
                lane.begin(operation.of(self.scene))
                lane.run_to(END)
                answers.append(lane.answer)
            self._orders[names] = (answers[0], answers[1]), self._state((first, second))
        return self._orders[names]

    def meet(self, first: Operation, second: Operation, *, at: int, then: int) -> Outcome:
        """Let two requests meet, and return how it ends."""
        self.one.begin_again()
        one, other = self.lanes
        one.begin(first.of(self.scene))
        one.run_to(at)
        other.begin(second.of(self.scene))
        other.run_to(then)
        if one.run_to(END):
            other.run_to(END)
            one.run_to(END)
        while not other.done:
            other.run_to(END)
        while not one.done:
            one.run_to(END)
        self.ways += 1
        return (one.answer, other.answer), self._state((first, second))

    def _state(self, pair: tuple[Operation, Operation]) -> dict[str, Sequence[str]]:
        """Return what is stored, without what may differ in a pair (see the module's docstring)."""
        assesses = any(operation.method == "GET" for operation in pair)
        if assesses:
            self.lanes[0].client.get("/v1/worklist")
        state = dict(self.one.state())
        if assesses and "last_change" in state:
            state["last_change"] = [row for row in state["last_change"] if "('feed', 'work')" not in row]
        if any(operation.path.startswith("/webhook-endpoints") for operation in pair):
            state.pop("webhook_delivery", None)
        return state

    def explore(self, pair: tuple[Operation, Operation], *, at_most: int, chance: Random) -> None:
        """Let a pair meet, each as the first, in every way that may differ, or in so many of them, drawn by chance."""
        self.pairs += 1
        known: set[object] = set()
        for first, second in dict.fromkeys((pair, pair[::-1])):
            meeting = self.meeting(first, second)
            ways = meeting.ways(known, swapped=(first, second) != pair)
            ends = len(meeting.first.statements), len(meeting.second.statements)
            left_out = (ends[0] - 1) * ends[1] - len(ways)
            self.left_out += left_out
            chosen = ways if len(ways) <= at_most else chance.sample(ways, at_most)
            if chance.random() < left_out / PASSED_BY:
                chosen = [*chosen, (chance.randrange(1, ends[0]), chance.randrange(1, ends[1]))]
            for at, then in chosen:
                self._judge(first, second, at=at, then=then)

    def _judge(self, first: Operation, second: Operation, *, at: int, then: int) -> None:
        ended = self.meet(first, second, at=at, then=then)
        if any(lane.status == 503 for lane in self.lanes):  # a busy machine held one past the time that it may be idle
            ended = self.meet(first, second, at=at, then=then)
        where = f"{first.name} ‖ {second.name}, stopped before statements {at} and {then}"
        statuses = [lane.status for lane in self.lanes]
        check(all(status < 500 for status in statuses), f"{where}: answered {statuses}")
        broken = self.watch.execute(_BROKEN).scalars().all()
        check(not broken, f"{where}: {', '.join(broken)}")
        (b, a), state = self.after(second, first)
        orders = [self.after(first, second), ((a, b), state)]
        check(ended in orders, f"{where}: as in no order of the two: {_difference(ended, orders)}")


_INVARIANTS = {
    "an entry does not balance": (
        "SELECT entry_number, sum(amount_minor) FROM ledger_posting GROUP BY entry_number HAVING sum(amount_minor) <> 0"
    ),
    "a loan is negative": (
        "SELECT venue_id, sum(amount_minor) FROM ledger_posting WHERE account = 'venue_loans' "
        "GROUP BY venue_id HAVING sum(amount_minor) < 0"
    ),
    "a venue has two currencies": (
        "SELECT venue.id FROM venue JOIN agreement ON agreement.venue_id = venue.id "
        "WHERE agreement.currency <> venue.currency UNION ALL "
        "SELECT venue.id FROM venue JOIN schedule ON schedule.venue_id = venue.id "
        "JOIN tariff ON tariff.id::text = schedule.terms->>'base' WHERE tariff.currency <> venue.currency UNION ALL "
        "SELECT a.venue_id FROM stay a JOIN venue va ON va.id = a.venue_id JOIN stay b ON b.pool_table_id = "
        "a.pool_table_id JOIN venue vb ON vb.id = b.venue_id WHERE va.currency <> vb.currency "
        "UNION ALL SELECT p.venue_id FROM ledger_posting p JOIN ledger_entry e ON e.number = p.entry_number "
        "JOIN venue ON venue.id = p.venue_id WHERE e.currency <> venue.currency"
    ),
    "a collection is settled twice": "SELECT collection_id FROM settlement GROUP BY collection_id HAVING count(*) > 1",
    "an entry is reversed twice": (
        "SELECT source_id FROM ledger_entry WHERE kind = 'reversal' GROUP BY source_id HAVING count(*) > 1"
    ),
    "a table is at two places": (
        "SELECT pool_table_id FROM stay WHERE to_at IS NULL GROUP BY pool_table_id HAVING count(*) > 1"
    ),
    "a table that has left took something later": (
        "SELECT r.pool_table_id FROM retirement r JOIN stay s ON s.id = r.stay_id WHERE s.voided_at IS NULL "
        "AND (EXISTS (SELECT 1 FROM reading x WHERE x.pool_table_id = r.pool_table_id "
        "AND x.taken_at > r.retired_at) OR EXISTS (SELECT 1 FROM keying x WHERE x.pool_table_id = r.pool_table_id "
        "AND x.keyed_at > r.retired_at) OR EXISTS (SELECT 1 FROM job x WHERE x.pool_table_id = r.pool_table_id "
        "AND x.reported_at > r.retired_at))"
    ),
    "a venue that has left has a table or a later schedule": (
        "SELECT venue.id FROM venue WHERE departed_on IS NOT NULL AND (EXISTS "
        "(SELECT 1 FROM pool_table t WHERE t.venue_id = venue.id) OR EXISTS "
        "(SELECT 1 FROM schedule s WHERE s.venue_id = venue.id AND s.effective_on > venue.departed_on))"
    ),
    "a venue names a tax area that is gone": (
        "SELECT venue_id FROM venue_fact WHERE name = 'tax_area' AND value IS NOT NULL "
        "AND NOT EXISTS (SELECT 1 FROM tax_area WHERE tax_area.code = venue_fact.value)"
    ),
    "a trip has two ends": "SELECT trip_id FROM trip_end GROUP BY trip_id HAVING count(*) > 1",
    "a change has the number of another": (
        "SELECT feed, number FROM last_change GROUP BY feed, number HAVING count(*) > 1"
    ),
}
_BROKEN = text(" UNION ALL ".join(f"SELECT '{says}' WHERE EXISTS ({query})" for says, query in _INVARIANTS.items()))


def _difference(ended: Outcome, orders: Sequence[Outcome]) -> str:
    answers, state = ended
    said = [f"answers {answers}, in order {[order[0] for order in orders]}"]
    for table in sorted({*state, *orders[0][1], *orders[1][1]}):
        rows, others = state.get(table, "as at the beginning"), [order[1].get(table, "as before") for order in orders]
        if rows not in others:
            said.append(f"{table}: {rows} and not {others}")
    return "; ".join(said)[:4000]


@contextmanager
def trials() -> Iterator[Trials]:
    """Yield two lanes on a fresh scene, which nobody uses afterwards."""
    with postgres_database() as url:
        watching = create_engine(url, isolation_level="AUTOCOMMIT")
        with watching.connect() as watch:
            name = watch.execute(text("SELECT current_database()")).scalar()
            watch.execute(text(f"ALTER DATABASE \"{name}\" SET deadlock_timeout = '50ms'"))
            tried = Trials(url, watch)
            yield tried
            for lane in tried.lanes:
                lane.engine.dispose()
        watching.dispose()


def pairs() -> list[tuple[Operation, Operation]]:
    """Return every pair of operations, an operation with itself too."""
    return list(itertools.combinations_with_replacement(OPERATIONS, 2))


def run(chance: Random, rounds: int) -> str:
    """Let so many pairs meet, drawn by chance; all of them where there are no more."""
    every = pairs()
    chosen = every if rounds >= len(every) else chance.sample(every, rounds)
    found: list[str] = []
    with trials() as tried:
        tried.learn(OPERATIONS if chosen is every else list(dict.fromkeys(itertools.chain(*chosen))))
        for pair in chosen:
            try:
                tried.explore(pair, at_most=END if chosen is every else 12, chance=chance)
            except Broken as broken:
                found.append(str(broken))
                if chosen is not every:
                    raise
    if found:
        raise Broken(f"{len(found)} pairs of {len(chosen)}:\n" + "\n".join(found))
    return (
        f"{tried.pairs} pairs of {len(every)}, {tried.ways} ways ({tried.left_out} that cannot differ left out): "
        "each as in one of the two orders"
    )


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
    for module, name, careless, first, second in planted:
        proper = getattr(module, name)
        setattr(module, name, careless)
        try:
            with trials() as tried:
                tried.learn([by_name[first], by_name[second]])
                tried.explore((by_name[first], by_name[second]), at_most=END, chance=chance)
        except Broken as broken:
            said.append(str(broken)[:120])
        else:
            return  # a plant that was not found: this control proves nothing
        finally:
            setattr(module, name, proper)
    raise Broken(" and ".join(said))


FAULT = Fault(name="F17", says="pairs that meet at any statement", run=run, control=control, short=12, long=END)
