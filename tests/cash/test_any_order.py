"""Any order of arrival of the same facts ends in the same answers (C9).

A history is some days of one machine: collections, readings, work done, keyings, jobs, and moves to another venue and
to the workshop; collections are reversed, readings, keyings and moves are voided. It is told twice, in the order of
time and in another one, by the service's own use cases on one database; each telling is rolled back. The moves of a
table keep their own order: a move before a recorded one is refused until that one is void.

``BAIZEBOOK_TEST_HISTORIES`` sets the number of histories.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from random import Random
from typing import Any
from uuid import UUID

import pytest
from baizebook.collections.queries import page_collections, read_collections
from baizebook.collections.schemas import CollectionIn
from baizebook.collections.service import record_collection, reverse_collection
from baizebook.controllers.queries import machine_of
from baizebook.controllers.schemas import KeyingIn
from baizebook.controllers.sells import sells
from baizebook.controllers.service import record_keying, void_keying
from baizebook.earnings.service import EarningsQuestion, read_earnings
from baizebook.health.convert import health_out
from baizebook.health.service import health_of
from baizebook.jobs.queries import page_jobs
from baizebook.jobs.schemas import JobDoneIn, JobIn
from baizebook.jobs.service import Reporter, close_job, report_job
from baizebook.lifecycle.service import void_move
from baizebook.pool_tables.schemas import MoveIn, TableIn
from baizebook.pool_tables.service import create_table, get_table, move_table
from baizebook.readings.admission import Sender
from baizebook.readings.schemas import ReadingIn
from baizebook.readings.service import record_readings, void_reading
from baizebook.reports.queries import differences_of_table
from baizebook.schedules.schemas import ScheduleIn
from baizebook.schedules.service import publish_for_venue
from baizebook.store.db import make_engine
from baizebook.tariffs.schemas import TariffIn
from baizebook.tariffs.service import publish_tariff
from baizebook.venues.schemas import VenueIn
from baizebook.venues.service import create_venue
from baizebook.web.errors import Problem
from baizebook.worklist.assessment import find_work
from baizebook.worklist.queries import load_work, work_facts
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlmodel import Session

from tests.databases import DEEP, settings_for, sqlite_database

HISTORIES = int(os.environ.get("BAIZEBOOK_TEST_HISTORIES", "40" if DEEP else "15"))
BEGAN = datetime(2026, 11, 22, 12, 0, tzinfo=UTC)
"""A Sunday noon; facts happen at whole hours after it."""
NOW = BEGAN + timedelta(days=4)
HOURS = 60
PLACES = ("here", "there", "workshop")


@dataclass(frozen=True)
class Fact:
    """Something that happened at an hour: ``place`` 0 to 2, ``number`` a count or a meter, ``void``: taken back."""

    kind: str
    hour: int
    place: int
    number: int
    void: bool

    @property
    def at(self) -> datetime:
        return BEGAN + timedelta(hours=self.hour)

    @property
    def at_text(self) -> str:
        return self.at.isoformat()


KINDS = ("collection", "collection", "collection", "meters", "work", "clock", "found", "keying", "job", "move")
FACTS = st.lists(
    st.builds(
        Fact,
        kind=st.sampled_from(KINDS),
        hour=st.integers(1, HOURS // 2).map(lambda twice: 2 * twice),
        place=st.integers(0, 2),
        number=st.integers(0, 60),
        void=st.sampled_from((False, False, True)),
    ),
    min_size=2,
    max_size=9,
    unique_by=lambda fact: (fact.kind, fact.hour, fact.place),
)
TABLE = {
    "label": "Window side",
    "accepts": ["1.00", "5.00"],
    "placed_at": "2026-11-20T12:00:00Z",
    "meters": [
        {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
        {"name": "plays", "counts": "games", "digits": 6, "resets": "at_collection"},
    ],
    "cash_box": {"value_max": "40.00"},
    "controller": {"games": {"prices_max": 2}},
}


class Machine:
    """One table, two venues with a schedule each, and histories that are told of the table."""

    def __init__(self, session: Session) -> None:
        self.session = session
        tariffs = [self._tariff(code, price) for code, price in (("plain", "1.00"), ("dear", "2.00"))]
        self.venues = [self._venue(name) for name in ("The Tin Heron", "The Copper Lantern")]
        self.schedules = [self._schedule(venue, tariff) for venue, tariff in zip(self.venues, tariffs, strict=True)]
        table = TableIn.model_validate(TABLE)
        self.table = create_table(session, self.venues[0], table, now=BEGAN).id
        self.made: dict[int, Any] = {}

    def _tariff(self, code: str, price: str) -> UUID:
        terms = {"code": code, "name": code, "currency": "USD", "games": {"prices": [{"price": price, "units": 1}]}}
        return publish_tariff(self.session, TariffIn.model_validate(terms), now=BEGAN).id

    def _venue(self, name: str) -> UUID:
        terms = {"name": name, "time_zone": "America/New_York", "currency": "USD"}
        return create_venue(self.session, VenueIn.model_validate(terms), now=BEGAN).id

    def _schedule(self, venue: UUID, tariff: UUID) -> UUID:
        terms = {"effective_on": "2026-01-01", "base": str(tariff)}
        return publish_for_venue(self.session, venue, ScheduleIn.model_validate(terms), now=BEGAN).id

    def tell(self, number: int, fact: Fact) -> None:
        """Record a fact."""
        self.made[number] = getattr(self, f"_{fact.kind}")(UUID(int=number + 1), fact)

    def take_back(self, number: int, fact: Fact) -> None:
        """Reverse or void a fact; close a job."""
        said, made = {"reason": "by mistake", "by": "Ana", "now": NOW}, self.made[number]
        if fact.kind == "collection":
            reverse_collection(self.session, made, **said)
        elif fact.kind == "keying":
            void_keying(self.session, made, **said)
        elif fact.kind == "move":
            void_move(self.session, made, **said)
        elif fact.kind == "job":
            at = fact.at + timedelta(hours=3)
            done = {"at": at.isoformat(), "found": "a jam", "meters_after": {"cash": fact.number * 4}}
            close_job(self.session, made, JobDoneIn.model_validate(done), by="Ana", now=NOW)
        else:
            void_reading(self.session, made, **said)

    def _collection(self, id_: UUID, fact: Fact) -> UUID:
        meters = {"cash": fact.number * 4, "plays": fact.number}
        box = {"table_id": str(self.table), "counted": {"1.00": fact.number // 2}, "meters": meters}
        at = {"venue_id": str(self.venues[fact.place % 2]), "collected_at": fact.at_text}
        message = CollectionIn.model_validate({"id": str(id_), **at, "collector": "Ana", "tables": [box]})
        return record_collection(self.session, message, now=NOW, by="Ana", person="Ana")[0].id

    def _reading(self, id_: UUID, fact: Fact, **seen: Any) -> UUID:
        item = {"id": str(id_), "table_id": str(self.table), "taken_at": fact.at_text, **seen}
        recorded = record_readings(self.session, [ReadingIn.model_validate(item)], sender=Sender("Ana"), now=NOW)
        assert [result.outcome for result in recorded.results] == ["recorded"]
        return id_

    def _meters(self, id_: UUID, fact: Fact) -> UUID:
        return self._reading(id_, fact, meters={"cash": fact.number * 4})

    def _work(self, id_: UUID, fact: Fact) -> UUID:
        return self._reading(id_, fact, done=[("meters_reset", "board_replaced", "clock_set")[fact.place]])

    def _clock(self, id_: UUID, fact: Fact) -> UUID:
        local = fact.at - timedelta(hours=5)
        shown = local + timedelta(minutes=fact.number)
        return self._reading(id_, fact, clock={"time": f"{shown:%H:%M}", "weekday": f"{shown:%a}".lower()})

    def _found(self, id_: UUID, fact: Fact) -> UUID:
        games = {"prices": [{"price": f"{fact.place + 1}.00", "units": 1}]}
        windows = [{"from": "00:00", "to": "00:00", "games": games, "minutes": None}]
        days = [{"day": day, "windows": windows} for day in ("mon", "tue", "wed", "thu", "fri", "sat", "sun")]
        return self._reading(id_, fact, settings={"days": days})

    def _keying(self, id_: UUID, fact: Fact) -> UUID:  # noqa: ARG002 (the service makes the id)
        terms = {"schedule_id": str(self.schedules[fact.place % 2]), "keyed_at": fact.at_text, "by": "Ana"}
        return record_keying(self.session, self.table, KeyingIn.model_validate(terms), now=NOW)[0].id

    def _job(self, id_: UUID, fact: Fact) -> UUID:
        report = {"id": str(id_), "table_id": str(self.table), "reported_at": fact.at_text, "fault": "money_refused"}
        message = JobIn.model_validate({**report, "playable": fact.place == 0})
        return report_job(self.session, message, by=Reporter("Ana"), now=NOW)[0].id

    def _move(self, id_: UUID, fact: Fact) -> UUID:  # noqa: ARG002 (the service makes the id)
        venue = str(self.venues[fact.place]) if fact.place < 2 else None
        terms = {"venue_id": venue, "moved_at": fact.at_text, "meters": {"cash": fact.number * 4}}
        message = MoveIn.model_validate({**terms, "box": ("emptied", "travels")[fact.number % 2]})
        return move_table(self.session, self.table, message, now=NOW).id

    def _earned(self, first: date, last: date) -> Any:
        """Return the earnings of a period, or the refusal of one before everything on record."""
        asked = EarningsQuestion(from_on=first, until_on=last, by=("venue",))
        try:
            return read_earnings(self.session, asked, now=NOW).model_dump(mode="json")
        except Problem as refusal:
            return refusal.code

    def answers(self) -> dict[str, Any]:
        """Return what the service answers about the machine in the end; ids that it makes itself are left out."""
        session, table = self.session, get_table(self.session, self.table)
        page = page_collections(session, venue_id=None, table_id=table.id, limit=50, after=None)
        collections = {told.id: _plain(told.model_dump(mode="json")) for told in read_collections(session, page.rows)}
        facts = work_facts(session, load_work(session, [table.id], now=NOW)[table.id])
        known = machine_of(session, table)
        sold = [sells(known, BEGAN + timedelta(hours=hour)) for hour in range(0, HOURS + 9, 6)]
        jobs = {
            venue: {
                row.id
                for row in page_jobs(session, table_id=None, venue_id=venue, state=None, limit=50, after=None).rows
            }
            for venue in self.venues
        }
        days = [date(2026, 11, day) for day in (20, 24, 27)]
        earned = [self._earned(first, last) for first, last in pairwise(days)]
        return {
            "collections": collections,
            "chart": differences_of_table(session, table.id).model_dump(mode="json"),
            "work": {(work.code, work.due_at, work.reason) for work in find_work(facts, now=NOW)},
            "health": health_out(table.id, health_of(session, table.id, now=NOW, here_only=False)).model_dump(
                mode="json"
            ),
            "sold": [repr(answer) for answer in sold],
            "jobs": jobs,
            "earned": earned,
        }


_AS_RECORDED = ("as_recorded", "received_at", "corrects")


def _plain(told: Any) -> Any:
    """Return an answer without what was said when it was recorded."""
    if isinstance(told, dict):
        return {name: _plain(value) for name, value in told.items() if name not in _AS_RECORDED}
    return [_plain(value) for value in told if value != "late_arrival"] if isinstance(told, list) else told


Step = tuple[int, Fact, bool]
"""A fact by its number, told (False) or taken back (True)."""


def steps_of(facts: Sequence[Fact]) -> list[Step]:
    """Return the steps of a history in the order of time; moves to where the table is are left out."""
    steps, place = list[Step](), 0
    for number, fact in enumerate(sorted(facts, key=lambda fact: (fact.hour, fact.kind, fact.place))):
        if fact.kind == "move":
            if fact.place == place:
                continue
            place = place if fact.void else fact.place
        steps.append((number, fact, False))
        if fact.void:
            steps.append((number, fact, True))
    return steps


def shuffled(steps: Sequence[Step], chance: Random) -> list[Step]:
    """Return steps in another order, in which each fact is told before it is taken back, and moves keep their order."""
    order = chance.sample(steps, len(steps))
    for mine in (lambda fact, _: fact.kind == "move", *(lambda _, n, k=k: n == k for k in {step[0] for step in steps})):
        places = [place for place, (number, fact, _) in enumerate(order) if mine(fact, number)]
        kept = [step for step in steps if mine(step[1], step[0])]
        for place, step in zip(places, kept, strict=True):
            order[place] = step
    return order


@pytest.fixture(scope="module")
def machine() -> Iterator[Machine]:
    """A machine on a database of its own."""
    with sqlite_database() as url:
        engine = make_engine(settings_for(url))
        with Session(engine) as session:
            yield Machine(session)
            session.rollback()
        engine.dispose()


def told(machine: Machine, steps: Sequence[Step]) -> dict[str, Any]:
    """Return the answers after some steps, and take them all back."""
    savepoint = machine.session.begin_nested()
    try:
        for number, fact, back in steps:
            (machine.take_back if back else machine.tell)(number, fact)
        return machine.answers()
    finally:
        savepoint.rollback()


@settings(max_examples=HISTORIES, deadline=None)
@given(facts=FACTS, chance=st.randoms(use_true_random=False))
def test_any_order_of_arrival_of_the_same_facts_ends_in_the_same_answers(
    machine: Machine, facts: list[Fact], chance: Random
) -> None:
    steps = steps_of(facts)
    assert told(machine, steps) == told(machine, list(shuffled(steps, chance)))
