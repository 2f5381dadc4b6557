"""Pairs of writing operations on PostgreSQL, one of them stopped before each of its statements while the other runs.

For every statement of the first operation: the first stops there, the second goes as far as it can (to its end, or to a
lock that the first holds), then the first goes on. After each trial the books are as if one had come after the other.
The controls take one lock out of the way and must see the race again. SQLite has one writer at a time: nothing to try.
"""

import json
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Event, Thread
from typing import Any
from uuid import UUID, uuid4

import pytest
from baizebook.collections.schemas import CollectionIn
from baizebook.collections.service import record_collection
from baizebook.ledger import service as ledger
from baizebook.ledger.schemas import EntryIn
from baizebook.lifecycle.service import delete_table
from baizebook.pool_tables import service as pool_tables
from baizebook.pool_tables.rows import StayRow
from baizebook.pool_tables.schemas import TableIn
from baizebook.pricing import DomainError
from baizebook.store.db import make_engine, reading, writing
from baizebook.trips.queries import StoredTrip, load_trip
from baizebook.trips.schemas import TripIn
from baizebook.trips.service import plan_trip
from baizebook.venues.rows import VenueRow
from baizebook.venues.schemas import VenueChangeIn
from baizebook.venues.service import change_venue, get_venue
from baizebook.web.auth import Principal
from baizebook.web.errors import Problem
from sqlalchemy import Engine, text
from sqlalchemy.exc import OperationalError
from sqlmodel import Session, select

from tests.conftest import NOON, Route
from tests.databases import postgres_database, settings_for, shared_engine
from tests.faults.scene import OPERATIONS
from tests.listening import listen, unlisten

Operation = Callable[[Session], object]
AS_FAR_AS_IT_GETS_S = 8
WAITING = text("SELECT 1 FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'")


class Stopped:
    """An operation on an engine that nobody else uses, stopped before its statement of this number."""

    def __init__(self, engine: Engine, operation: Operation, before: int) -> None:
        self.engine, self.operation, self.before = engine, operation, before
        self.seen, self.error = 0, None
        self.there, self.may_go_on = Event(), Event()
        listen(self.engine, "before_cursor_execute", self._pause)
        self.thread = Thread(target=self._run)

    def _pause(self, *_: Any) -> None:
        if self.seen == self.before:
            self.there.set()
            assert self.may_go_on.wait(8)
        self.seen += 1

    def _run(self) -> None:
        self.error = run(self.engine, self.operation)
        unlisten(self.engine, "before_cursor_execute", self._pause)
        self.there.set()


def run(engine: Engine, operation: Operation) -> Exception | None:
    """Run an operation in a transaction; return why it was refused."""
    try:
        with writing(engine) as session:
            operation(session)
    except (Problem, DomainError, OperationalError) as problem:  # who waits too long for a lock stores nothing
        return problem
    return None


def trial(stopped: Stopped, second: Operation, other: Engine) -> bool:
    """Run both, the first stopped before a statement; tell whether it has so many."""
    stopped.thread.start()
    assert stopped.there.wait(8)
    reached = stopped.seen == stopped.before and stopped.thread.is_alive()
    racing = Thread(target=run, args=(other, second))
    racing.start()
    wait_until_it_ends_or_is_locked(racing, other)
    stopped.may_go_on.set()
    stopped.thread.join(8)
    racing.join(8)
    assert not stopped.thread.is_alive()
    assert not racing.is_alive()
    return reached


def wait_until_it_ends_or_is_locked(racing: Thread, engine: Engine) -> None:
    """Wait until an operation has ended or waits for a lock, as the database says."""
    until = time.monotonic() + AS_FAR_AS_IT_GETS_S
    while racing.is_alive() and time.monotonic() < until:
        racing.join(0.01)
        with engine.connect() as connection:
            if connection.execute(WAITING).first():
                return


def violations(
    url: str, make: Callable[[], tuple[Operation, Operation, Callable[[], bool]]], *, swap: bool, enough: int = 1000
) -> list[int]:
    """Return the statements before which a stop leaves the books in a state that no order of the two gives.

    A control has seen enough with the first one.
    """
    engine, other = make_engine(settings_for(url)), shared_engine(url)
    found, before = [], 0
    while len(found) < enough:
        first, second, holds = make()
        if swap:
            first, second = second, first
        reached = trial(Stopped(engine, first, before), second, other)
        if not holds():
            found.append(before)
        if not reached:
            assert before > 3, "an operation has more statements than that"
            break
        before += 1
    engine.dispose()
    return found


@pytest.fixture
def database_url() -> Iterator[str]:
    """A PostgreSQL database."""
    with postgres_database() as url:
        yield url


@pytest.fixture
def loans(engine: Engine, route: Route) -> Callable[[], Any]:
    """Makes a venue with a loan of 100.00, and a collection that repays it beside a write-off of it."""

    def make() -> tuple[Operation, Operation, Callable[[], bool]]:
        venue = route.venue()["id"]
        table = route.table(venue)["id"]
        route.post(
            f"/venues/{venue}/agreements",
            {"effective_on": "2026-01-01", "venue_percent": "50", "loan_repay_percent": "100"},
        )
        loan = {"amount": "100.00", "venue_id": venue, "on": "2026-11-01"}
        route.post("/ledger/entries", {"kind": "loan_advance", **loan})
        written_off = EntryIn.model_validate({"kind": "write_off", **loan})
        collection = CollectionIn.model_validate(
            {
                "id": str(uuid4()),
                "venue_id": venue,
                "collected_at": "2026-11-02T16:00:00Z",
                "collector": "Ana",
                "tables": [{"table_id": table, "counted": {"1.00": 200}}],
            }
        )

        def collect(session: Session) -> object:
            return record_collection(session, collection, now=NOON, by="Ana", person="Ana")

        def write_off(session: Session) -> object:
            return ledger.post_owner_entry(session, written_off, currency="USD", now=NOON)

        def holds() -> bool:
            with reading(engine) as session:
                return ledger.loan_balance(session, venue_id=UUID(venue), currency="USD") == 0

        return collect, write_off, holds

    return make


@pytest.fixture
def currencies(engine: Engine, route: Route) -> Callable[[], Any]:
    """Makes an empty venue, and a table in dollars there beside a change of the venue to yen."""

    def make() -> tuple[Operation, Operation, Callable[[], bool]]:
        venue = UUID(route.venue()["id"])
        table = TableIn.model_validate({"label": "Window side", "accepts": ["0.25"]})

        def create(session: Session) -> object:
            return pool_tables.create_table(session, venue, table, now=NOON)

        def to_yen(session: Session) -> object:
            yen = VenueChangeIn.model_validate({"currency": "JPY"})
            return change_venue(session, venue, yen, if_match="*", now=NOON)

        def holds() -> bool:
            with reading(engine) as session:
                row = session.get_one(VenueRow, venue)
                stands = session.exec(select(StayRow.id).where(StayRow.venue_id == venue)).first() is not None
                return (row.currency, stands) in (("USD", True), ("JPY", False))

        return create, to_yen, holds

    return make


@pytest.mark.parametrize("swap", [False, True])
def test_a_loan_is_not_both_repaid_and_written_off(database_url: str, loans: Callable[[], Any], swap: bool) -> None:
    assert violations(database_url, loans, swap=swap) == []


@pytest.mark.parametrize("swap", [False, True])
def test_no_table_in_dollars_is_made_at_a_venue_that_becomes_one_in_yen(
    database_url: str, currencies: Callable[[], Any], swap: bool
) -> None:
    assert violations(database_url, currencies, swap=swap) == []


def test_without_the_lock_of_the_venues_accounts_the_loan_is_repaid_and_written_off(
    database_url: str, loans: Callable[[], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ledger, "lock_accounts", lambda *_: None)
    assert violations(database_url, loans, swap=False, enough=1)


def test_without_the_venues_lock_a_table_in_dollars_is_made_at_a_venue_in_yen(
    database_url: str, currencies: Callable[[], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pool_tables, "lock_venue", get_venue)
    assert violations(database_url, currencies, swap=False, enough=1)


def test_a_trip_is_planned_while_a_table_on_its_way_is_deleted(database_url: str, route: Route) -> None:
    route.post("/tokens", {"name": "A phone", "role": "collector", "person": "Bram"})
    owner = Principal(id="owner", name="Owner", person="Owner", role="owner")

    def make() -> tuple[Operation, Operation, Callable[[], bool]]:
        venue = route.venue()["id"]
        table = UUID(route.table(venue)["id"])
        message = TripIn.model_validate({"on": "2027-01-10", "person": "Bram", "stops": [venue]})
        planned: list[StoredTrip] = []

        def plan(session: Session) -> object:
            trip = load_trip(session, plan_trip(session, message, by=owner, now=NOON), now=NOON)
            planned.append(trip)
            return trip

        return plan, lambda session: delete_table(session, table, now=NOON), lambda: bool(planned)

    assert violations(database_url, make, swap=False) == []


STORES_NOTHING = {
    "POST /v1/quotes",
    "POST /v1/page-links",
    "POST /v1/tariffs/check",
    "POST /v1/tariffs/counting-check",
    "POST /v1/tariffs/proposals",
    "POST /v1/collections/preview",
    "POST /v1/reports/what-if",
}


def test_every_operation_that_writes_meets_every_other() -> None:
    contract = json.loads((Path(__file__).parents[2] / "openapi" / "openapi.json").read_text())
    writing_ones = {
        f"{method.upper()} {path}" for path, item in contract["paths"].items() for method in item if method != "get"
    }
    stepped = {
        f"{operation.method} /v1{re.sub('{.*?}', '{}', operation.path.split('?')[0])}" for operation in OPERATIONS
    }
    missing = {one for one in writing_ones - STORES_NOTHING if re.sub("{.*?}", "{}", one) not in stepped}
    assert missing <= {"DELETE /v1/tax-areas/{tax_area}"}  # the scene's area has a name, not an id
    assert writing_ones >= STORES_NOTHING
