"""The engine's public names: what others may rely on. A name added or dropped is a decision, made here too."""

from __future__ import annotations

import baizebook.pricing

PUBLIC = {
    "money": {"MOST_MINOR", "allot", "exponent", "format_money", "parse_money", "round_half_up"},
    "refusals": {"Fault", "PricingError", "refuse"},
    "lines": {"Advice", "Kind", "Line"},
    "ladders": {"Counting", "Ladder", "NextBreak", "Rung", "Sale", "Sold", "advice", "cheapest", "split"},
    "coins": {"next_payable", "payable"},
    "metered time": {"Cap", "Charge", "Lasts", "Per", "Piece", "Rate", "Tier", "TierMode"},
    "what it costs": {"charge", "charge_play", "lasts", "metered_advice"},
    "tariffs": {"Tariff"},
    "the week": {"Calendar", "OnDate", "Recurring", "Schedule", "Span", "Stretch", "Timetable", "Weekly", "zone_named"},
    "in force": {"Keying", "Listing", "keyed", "listed"},
    "purchases": {"Insert", "Purchases", "Start", "Step", "follow"},
    "quotes": {"Answer", "Least", "Offer", "quote"},
}


def test_the_public_names_are_these() -> None:
    assert set(baizebook.pricing.__all__) == set().union(*PUBLIC.values())
    assert len(baizebook.pricing.__all__) == sum(len(names) for names in PUBLIC.values())


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
