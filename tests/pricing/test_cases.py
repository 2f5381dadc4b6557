"""The worked examples of cases/, each a place with one tariff and what it must answer."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from baizebook.pricing import (
    Calendar,
    Insert,
    Ladder,
    Rate,
    Rung,
    Schedule,
    Start,
    Stretch,
    Tariff,
    Tier,
    Timetable,
    advice,
    follow,
    format_money,
    parse_money,
    quote,
)
from baizebook.pricing.lines import Kind
from baizebook.pricing.quote import Offer

PRICES = {"currency", "games", "minutes", "metered"}
QUESTIONS = {"money", "units", "advice", "purchase"}
EVENING = datetime(2026, 12, 1, 21, tzinfo=UTC)


class Place:
    """The place of one file."""

    def __init__(self, case: dict[str, Any]) -> None:
        self.case = case
        self.currency: str = case["currency"]
        self.tariff = Tariff(
            self.currency,
            games=self.ladder(case.get("games")),
            minutes=self.ladder(case.get("minutes")),
            metered=self.rate(case.get("metered")),
        )
        schedule = Schedule(id="draft", base=self.tariff)
        always = Stretch(from_at=datetime(2026, 1, 1, tzinfo=UTC), schedule=schedule)
        self.timetable = Timetable(Calendar(ZoneInfo("UTC")), (always,))

    def minor(self, text: str) -> int:
        return parse_money(text, self.currency)

    def ladder(self, written: dict[str, Any] | None) -> Ladder | None:
        if written is None:
            return None
        rungs = tuple(Rung(self.minor(rung["price"]), rung["units"]) for rung in written["prices"])
        return Ladder(rungs, written.get("counting", "repeat"))

    def rate(self, written: dict[str, Any] | None) -> Rate | None:
        if written is None:
            return None
        tiers = tuple(Tier(**{**tier, "price": self.minor(tier["price"])}) for tier in written["tiers"])
        minimum = self.minor(written.get("minimum", "0"))
        return Rate(tiers, tier_mode=written.get("tier_mode", "add"), minimum=minimum)

    def offer(self, kind: Kind, **question: int) -> Offer:
        (offer,) = (one for one in quote(self.timetable, at=EVENING, **question).offers if one.kind == kind)  # type: ignore[arg-type]
        return offer


PLACES = {
    path.stem: Place(tomllib.loads(path.read_text(encoding="utf-8")))
    for path in sorted(Path(__file__).with_name("cases").glob("*.toml"))
}


def rows(part: str) -> pytest.MarkDecorator:
    """Run a test with every row of this part of every file."""
    found = [
        pytest.param(place, row, id=f"{name} {number}")
        for name, place in PLACES.items()
        for number, row in enumerate(place.case.get(part, []), start=1)
    ]
    return pytest.mark.parametrize(("place", "row"), found)


@rows("money")
def test_money_buys_what_the_example_says(place: Place, row: dict[str, Any]) -> None:
    offer = place.offer(row["kind"], money=place.minor(row["money"]))
    found = {"units": offer.units, "left": format_money(offer.left, place.currency)}
    if "lines" in row:
        found["lines"] = [line.what for line in offer.lines]
    if "next_break" in row:
        assert offer.next_break is not None
        add = format_money(offer.next_break.add, place.currency)
        found["next_break"] = {"add": add, "units": offer.next_break.units}
    assert {"kind": row["kind"], "money": row["money"], **found} == row


@rows("units")
def test_units_cost_what_the_example_says(place: Place, row: dict[str, Any]) -> None:
    asked = "games" if row["kind"] == "games" else "minutes"
    least = place.offer(row["kind"], **{asked: row["units"]}).least
    assert least is not None
    assert format_money(least.money, place.currency) == row["costs"]
    assert [format_money(part, place.currency) for part in least.split] == row.get("split", [])


@rows("advice")
def test_advice_is_what_the_example_says(place: Place, row: dict[str, Any]) -> None:
    ladder = place.tariff.games if row["kind"] == "games" else place.tariff.minutes
    assert ladder is not None
    assert [one.code for one in advice(ladder, row["kind"], place.currency)] == row["codes"]


@rows("purchase")
def test_a_table_does_what_the_example_says(place: Place, row: dict[str, Any]) -> None:
    events = [
        Insert(clock(event["at"]), place.minor(event["insert"])) if "insert" in event else Start(clock(event["at"]))
        for event in row["events"]
    ]
    purchases = follow(events, tariff_at=lambda at: place.timetable.at(at).tariff, buys=row["buys"])
    assert [step.granted for step in purchases.steps] == [event.get("grants", 0) for event in row["events"]]
    assert format_money(purchases.left, place.currency) == row["left"]
    assert purchases.ends_at == (clock(row["ends_at"]) if "ends_at" in row else None)


@pytest.mark.parametrize("name", PLACES)
def test_every_part_of_an_example_is_one_that_is_looked_at(name: str) -> None:
    assert set(PLACES[name].case) <= PRICES | QUESTIONS
    assert set(PLACES[name].case) & QUESTIONS


def clock(written: str) -> datetime:
    """Return a time of the evening."""
    return datetime.combine(EVENING.date(), time.fromisoformat(written), UTC)
