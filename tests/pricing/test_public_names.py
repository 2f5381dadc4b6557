"""The engine's public names: what others may rely on. A name added or dropped is a decision, made here too."""

from __future__ import annotations

import baizebook.pricing

PUBLIC = {
    "money": {"format_money", "parse_money"},
    "errors": {"DomainError", "Fault", "PricingError"},
    "ladders": {"Counting", "Ladder", "Rung", "advice", "check_counting", "split"},
    "coins": {"next_payable"},
    "metered time": {"Cap", "Rate", "Tier", "charge_play"},
    "tariffs": {"Tariff"},
    "the week": {"Calendar", "OnDate", "Recurring", "Schedule", "Stretch", "Timetable", "Weekly", "zone_named"},
    "purchases": {"Insert", "Start", "follow"},
    "quotes": {"Answer", "quote"},
}
PUBLIC_MAX = 30


def test_the_public_names_are_these() -> None:
    assert set(baizebook.pricing.__all__) == set().union(*PUBLIC.values())
    assert len(baizebook.pricing.__all__) == sum(len(names) for names in PUBLIC.values()) <= PUBLIC_MAX


def test_every_public_name_is_there() -> None:
    assert all(hasattr(baizebook.pricing, name) for name in baizebook.pricing.__all__)


def test_three_lines_price_a_ladder() -> None:
    names: dict[str, object] = {}
    exec(
        "from baizebook.pricing import Ladder, Rung\n"
        "ladder = Ladder((Rung(75, 1), Rung(400, 6), Rung(700, 11)))\n"
        "games = ladder.total(1000)\n",
        names,
    )
    assert names["games"] == 15
