"""What is kept of earnings equals what is worked out from nothing, whatever was recorded, in whatever order."""

from datetime import date, datetime, timedelta
from itertools import chain, combinations
from random import Random
from typing import Any
from uuid import uuid4

import pytest
from baizebook.earnings.box_parts import parts_of
from baizebook.earnings.earned_totals import BOX_AMOUNTS, Earned, Grouping, earnings
from baizebook.earnings.queries import boxes_in, boxes_of, sums_of, tables_to_reckon
from baizebook.earnings.rows import EarnedBoxRow
from baizebook.earnings.service import reckon, reckon_all
from baizebook.store.db import reading
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine
from sqlmodel import select

from tests.cash.conftest import METERS, Till
from tests.conftest import NOON
from tests.databases import DEEP

GROUPINGS: tuple[Grouping, ...] = ("table", "venue", "agreement", "week", "month", "year")
ASKED = [*chain.from_iterable(combinations(GROUPINGS, count) for count in (0, 1)), ("venue", "week"), ("denomination",)]
PERIODS = [
    (date(2026, 1, 1), date(2027, 1, 1)),
    (date(2026, 10, 7), date(2026, 11, 11)),
    (date(2026, 11, 3), date(2026, 11, 4)),
]


def agrees(engine: Engine) -> None:
    """Compare what is kept with what is worked out from nothing, for every grouping and period."""
    with reading(engine) as session:
        for from_on, until_on in PERIODS:
            boxes = boxes_of(session, from_on=from_on, until_on=until_on)
            for by in ASKED:
                kept = sums_of(session, by=by, from_on=from_on, until_on=until_on)
                assert kept == earnings(boxes, (), by=by, from_on=from_on, until_on=until_on), (by, from_on)
        every = {"from_on": date.min, "until_on": date.max}
        assert sorted(boxes_in(session, **every), key=_id) == sorted(boxes_of(session, **every), key=_id)


def _id(box: Earned) -> tuple[str, str]:
    return box.collection_id, box.table_id


class History:
    """Records things at random: collections in any order, reversals, readings, jobs, moves, settlements."""

    def __init__(self, till: Till, seed: int) -> None:
        self.till, self.chance, self.shown = till, Random(seed), 0
        self.other = till.route.table(till.venue, label="Old", meters=METERS, placed_at="2026-08-01T12:00:00Z")["id"]
        self.made: list[dict[str, Any]] = []
        self.agreed = False

    def step(self) -> None:
        """Record one thing; what the service refuses is left out."""
        do = self.chance.choice(
            [self.collect, self.collect, self.collect, self.reverse, self.read, self.job, self.agree]
        )
        do(self.chance.choice([self.till.table, self.other]))

    def _at(self) -> datetime:
        return NOON - timedelta(days=self.chance.randrange(90), hours=self.chance.randrange(20))

    def _meter(self, at: datetime) -> int:
        """Return what a money meter shows: 4 counts an hour."""
        return 20_000 - int((NOON - at).total_seconds()) // 900

    def collect(self, table: str) -> None:
        at = self._at()
        body = self.till.body("2026-11-01", self.chance.randrange(200), cash=self._meter(at), test_money="1.00")
        body["tables"][0]["table_id"] = table
        body["tables"][0]["counted"]["0.25"] = self.chance.randrange(50)
        answer = self.till.client.post("/v1/collections", json={**body, "collected_at": at.isoformat()})
        if answer.is_success:
            self.made.append(answer.json())

    def reverse(self, _: str) -> None:
        if self.made:
            self.till.reverse(self.made.pop(self.chance.randrange(len(self.made))))

    def read(self, table: str) -> None:
        at = self._at()
        sent = {"id": str(uuid4()), "table_id": table, "taken_at": at.isoformat(), "meters": {"cash": self._meter(at)}}
        self.till.route.post("/readings", {"readings": [sent]})

    def job(self, table: str) -> None:
        sent = {"id": str(uuid4()), "table_id": table, "reported_at": self._at().isoformat(), "fault": "ball_stuck"}
        self.till.client.post("/v1/jobs", json={**sent, "playable": False})

    def agree(self, _: str) -> None:
        if not self.agreed:
            self.till.agree()
            self.agreed = True
        for one in self.made:
            self.till.client.post(f"/v1/collections/{one['id']}/settle")


@pytest.mark.parametrize("seed", [1, 2] if DEEP else [1])
def test_a_random_history_is_kept_as_it_is_worked_out_from_nothing(
    at_noon: TestClient, till: Till, engine: Engine, seed: int
) -> None:
    history = History(till, seed)
    for _ in range(4):
        for _ in range(6):
            history.step()
        agrees(engine)  # something was recorded since
        reckon(engine)
        with reading(engine) as session:
            assert tables_to_reckon(session) == set()
            assert (session.exec(select(EarnedBoxRow).limit(1)).first() is None) == (not history.made)
        agrees(engine)
    assert at_noon.get("/v1/reports/earnings?from=2026-01-01&to=2027-01-01").status_code == 200


def test_an_older_result_never_replaces_a_newer_one(
    till: Till, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    till.collect("2026-11-03", 90, cash=40)
    reckon(engine)
    till.collect("2026-11-05", 10, cash=80)
    seen = boxes_of

    def meanwhile(*args: Any, **asked: Any) -> list[Earned]:
        found = seen(*args, **asked)
        monkeypatch.setattr("baizebook.earnings.service.boxes_of", seen)
        till.collect("2026-11-07", 20, cash=160)
        reckon(engine)
        return found

    monkeypatch.setattr("baizebook.earnings.service.boxes_of", meanwhile)
    reckon(engine, at_most=1)
    agrees(engine)
    with reading(engine) as session:
        assert len(session.exec(select(EarnedBoxRow)).all()) == 3


def test_what_is_recorded_meanwhile_waits_for_the_next_time(
    till: Till, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    till.collect("2026-11-03", 90, cash=40)
    seen, dates = boxes_of, iter(f"2026-11-{day:02}" for day in range(4, 9))

    def meanwhile(*args: Any, **asked: Any) -> list[Earned]:
        till.collect(next(dates), 20, cash=160)
        return seen(*args, **asked)

    monkeypatch.setattr("baizebook.earnings.service.boxes_of", meanwhile)
    assert reckon(engine) == 1
    assert list(reckon_all(engine)) == [1]
    with reading(engine) as session:
        assert len(tables_to_reckon(session)) == 1


@given(days=st.integers(0, 80), start=st.integers(0, 400), gross=st.integers(0, 10**6), share=st.integers(0, 100))
def test_the_parts_of_a_box_add_up_to_it(days: int, start: int, gross: int, share: int) -> None:
    before = date(2026, 1, 1) + timedelta(days=start)
    box = Earned(
        collection_id="c", entry_id=None, table_id="t", venue_id="v", currency="USD", emptied_before_on=before,
        emptied_on=before + timedelta(days=days), gross=gross, venue_share=gross * share // 100, games=share,
    )  # fmt: skip
    parts = parts_of(box)
    assert all(sum(part.amounts[name] for part in parts) == getattr(box, name) for name in BOX_AMOUNTS)
    assert sum(part.days for part in parts) == days
    assert len({(part.week_on, part.month) for part in parts}) == len(parts)
