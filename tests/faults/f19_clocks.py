"""F19: clocks that jump by up to an hour before any step, and two hosts whose clocks disagree: the order of what was
recorded, and with it prices, money and every list that somebody follows, is that of an even clock.
"""

import itertools
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime, timedelta
from random import Random
from typing import Any

import baizebook.store.sequence as sequence
from sqlmodel import Session

from tests.databases import postgres_database, sqlite_database
from tests.faults.fault import Fault, check
from tests.service.clock_story import STEPS, tell

JUMP_MAX_S = 3_600
Database = Callable[[], AbstractContextManager[str]]


def run(chance: Random, rounds: int) -> str:
    """Tell the story so many times on each database, at one host and at two."""
    for database in (sqlite_database, postgres_database):
        expected = _end(database, [0] * len(STEPS))
        for number in range(rounds):
            hosts = 1 + number % 2 if database is postgres_database else 1
            _tell_with_jumps(database, expected, chance, hosts=hosts)
    return f"{rounds} stories of {len(STEPS)} steps on each database, the clock off before every step: each ended alike"


def control(chance: Random) -> None:
    """Records numbered by the clock: what is recorded after the clock went back counts as older."""
    expected = _end(sqlite_database, [0] * len(STEPS))
    with _numbered_by_the_clock():
        for _ in range(4):
            _tell_with_jumps(sqlite_database, expected, chance, hosts=1)


def _tell_with_jumps(database: Database, expected: dict[str, Any], chance: Random, *, hosts: int) -> None:
    jumps = [chance.choice((0, chance.randint(-JUMP_MAX_S, JUMP_MAX_S))) for _ in STEPS]
    try:
        found = _end(database, jumps, hosts=hosts)
    except (AssertionError, LookupError) as error:  # a step was refused, or found nothing to go on from
        found = {"refused": str(error)[:300]}
    wrong = {name: (value, expected.get(name)) for name, value in found.items() if value != expected.get(name)}
    check(not wrong, f"{hosts} hosts, clock off by {jumps} s: found and expected {wrong}"[:1500])


def _end(database: Database, jumps_s: list[int], *, hosts: int = 1) -> dict[str, Any]:
    with database() as url:
        return tell(url, lambda step: timedelta(seconds=jumps_s[step]), hosts=hosts)


@contextmanager
def _numbered_by_the_clock() -> Iterator[None]:
    """Give numbers that follow the clock of the host."""
    properly, unlike = sequence.next_numbers, itertools.count()

    def by_the_clock(session: Session, name: str, count: int, *, now: datetime) -> tuple[range, datetime]:  # noqa: ARG001
        first = int(now.timestamp()) * 10_000 + next(unlike)
        return range(first, first + count), now

    sequence.next_numbers = by_the_clock
    try:
        yield
    finally:
        sequence.next_numbers = properly


FAULT = Fault(name="F19", says="clocks that jump and disagree", run=run, control=control, short=5, long=200)
