"""Metered rates against published tariffs with one time dimension; each row with its source and its mark.

OCPI is the Open Charge Point Interface 2.3.0-ed2 of the EVRoaming Foundation, documents ``mod_tariffs`` and
``mod_cdrs``. Amounts are minor units of a currency with two decimals.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from baizebook.pricing.metered import charge, lasts
from baizebook.pricing.play import Piece
from baizebook.pricing.rate import Cap, Rate, Tier

START = datetime(2026, 12, 1, 16, 54, tzinfo=UTC)


def an_hour(price: int, *, step: int = 1) -> Rate:
    return Rate((Tier(0, price, 60, step),))


def play(rate: Rate, seconds: int) -> list[Piece]:
    return [Piece(START, START + timedelta(seconds=seconds), rate)]


# GBFS, gbfs.md, system_pricing_plans, Example 1 (MobilityData, CC BY 3.0).
G1 = Rate((Tier(0, 200, 30), Tier(30, 300, 30), Tier(60, 10, 1)))
# GBFS v3.1, Example 2.
G2 = Rate((Tier(0, 50, 1),), start_fee=300, maximum=Cap(1500, 720))
# MDS 1.2.0, policy/examples, Tiered Parking Fees Per Hour, each tier adds (Open Mobility Foundation, CC BY 4.0).
M1 = Rate((Tier(0, 200, 60), Tier(60, 400, 60), Tier(120, 1000, 60)))
# CDS issue 116: 1 an hour, at most 7.50.
C3 = Rate((Tier(0, 100, 60, 1),), maximum=Cap(750))
# CurbLR, Payment.md, Flat-rate: 1 for any part of an hour (CC0).
L1 = Rate((Tier(0, 100, 60),))
# CurbLR, Payment.md, Flat-rate tier: the first hour 1, then 2 each (CC0).
L2 = Rate((Tier(0, 100, 60), Tier(60, 200, 60)))
# APDS sandbox, Rate Line Types, flatRateTier: the first half hour 3, the second 2, then 1 an hour, at most 7 h.
A3 = Rate((Tier(0, 300, 30), Tier(30, 200, 30), Tier(60, 100, 60)))

MINUTES = 60
ROWS = [
    ("O1 OCPI, Simple Tariff example, 2 per hour: published", an_hour(200), 150 * MINUTES, 500),
    ("O3 OCPI, North American taxes, inclusive: published", an_hour(210), 150 * MINUTES, 525),
    ("O4 OCPI, 3 per hour, time part: published", an_hour(300), 150 * MINUTES, 750),
    ("O19 OCPI mod_cdrs, CDR example, 17:39:09 to 19:37:32: published", an_hour(200, step=5), 7_103, 400),
    ("G1 GBFS Example 1, 29:30: derived", G1, 29 * MINUTES + 30, 200),
    ("G1 GBFS Example 1, 30:30: derived", G1, 30 * MINUTES + 30, 500),
    ("G1 GBFS Example 1, 59:30: derived", G1, 59 * MINUTES + 30, 500),
    ("G1 GBFS Example 1, 60:30: derived", G1, 60 * MINUTES + 30, 510),
    ("G1 GBFS Example 1, 74:30: derived", G1, 74 * MINUTES + 30, 650),
    ("G1 GBFS Example 1, 119:30: derived", G1, 119 * MINUTES + 30, 1100),
    ("G2 GBFS Example 2, 10:30: derived", G2, 10 * MINUTES + 30, 850),
    ("G2 GBFS Example 2, 23:30: derived", G2, 23 * MINUTES + 30, 1500),
    ("G2 GBFS Example 2, 59:30: derived", G2, 59 * MINUTES + 30, 1500),
    ("M1 MDS 1.2.0, 6.5 hours: published", M1, 390 * MINUTES, 5600),
    ("C3 CDS issue 116, 5 h: derived", C3, 300 * MINUTES, 500),
    ("C3 CDS issue 116, 7.5 h: derived", C3, 450 * MINUTES, 750),
    ("C3 CDS issue 116, 9 h: derived", C3, 540 * MINUTES, 750),
    ("L1 CurbLR, 1 min: derived", L1, 1 * MINUTES, 100),
    ("L1 CurbLR, 60 min: derived", L1, 60 * MINUTES, 100),
    ("L1 CurbLR, 61 min: derived", L1, 61 * MINUTES, 200),
    ("L1 CurbLR, 120 min: derived", L1, 120 * MINUTES, 200),
    ("L2 CurbLR, 30 min: derived", L2, 30 * MINUTES, 100),
    ("L2 CurbLR, 60 min: derived", L2, 60 * MINUTES, 100),
    ("L2 CurbLR, 61 min: derived", L2, 61 * MINUTES, 300),
    ("L2 CurbLR, 120 min: derived", L2, 120 * MINUTES, 300),
    ("L2 CurbLR, 121 min: derived", L2, 121 * MINUTES, 500),
    ("A3 APDS, 10 min: derived, seen second-hand", A3, 10 * MINUTES, 300),
    ("A3 APDS, 30 min: derived, seen second-hand", A3, 30 * MINUTES, 300),
    ("A3 APDS, 31 min: derived, seen second-hand", A3, 31 * MINUTES, 500),
    ("A3 APDS, 60 min: derived, seen second-hand", A3, 60 * MINUTES, 500),
    ("A3 APDS, 61 min: derived, seen second-hand", A3, 61 * MINUTES, 600),
    ("A3 APDS, 120 min: derived, seen second-hand", A3, 120 * MINUTES, 600),
    ("A3 APDS, 121 min: derived, seen second-hand", A3, 121 * MINUTES, 700),
    ("A3 APDS, 420 min: derived, seen second-hand", A3, 420 * MINUTES, 1100),
    # Hall practice, the first hour and the second: common practice.
    ("T1m a member's 2 h: common practice", Rate((Tier(0, 400, 60), Tier(60, 300, 60))), 120 * MINUTES, 700),
    ("T1m a guest's 2 h: common practice", Rate((Tier(0, 500, 60), Tier(60, 400, 60))), 120 * MINUTES, 900),
]


@pytest.mark.parametrize(("rate", "seconds", "total"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS])
def test_a_published_tariff_costs_what_it_says(rate: Rate, seconds: int, total: int) -> None:
    assert charge(play(rate, seconds), currency="EUR").total == total


def test_7103_seconds_in_steps_of_five_minutes_bill_120_minutes() -> None:
    # O19, OCPI mod_cdrs, CDR example: 7,103 s, 7,200 s billed: published.
    from_at, to_at = datetime(2015, 6, 29, 17, 39, 9, tzinfo=UTC), datetime(2015, 6, 29, 19, 37, 32, tzinfo=UTC)

    assert charge([Piece(from_at, to_at, an_hour(200, step=5))], currency="EUR").minutes_billed == 120


def test_the_step_of_the_last_piece_applies_once_counted_from_the_start() -> None:
    # O20, OCPI mod_cdrs, step_size, 5/7 example: 6 minutes before 17:00 and 22 after. Minutes published, cost derived.
    five = datetime(2026, 12, 1, 17, tzinfo=UTC)
    before = Piece(five - timedelta(minutes=6), five, an_hour(500, step=10))
    after = Piece(five, five + timedelta(minutes=22), an_hour(700, step=10))

    found = charge([before, after], currency="EUR")

    assert found.minutes_billed == 30
    assert [(line.units, line.amount) for line in found.lines] == [(6, 50), (24, 280)]
    assert found.total == 330


@pytest.mark.parametrize(
    ("rate", "total"),
    [
        # M1, MDS 1.2.0: every tier adds: published.
        (M1, 5600),
        # The other reading of the same tiers: the tier reached sets the price: derived.
        (Rate((Tier(0, 200), Tier(60, 400), Tier(120, 1000)), tier_mode="set"), 1000),
    ],
    ids=["every tier adds", "the tier reached sets the price"],
)
def test_six_and_a_half_hours_of_one_tiered_price_cost_56_or_10_by_its_mode(rate: Rate, total: int) -> None:
    assert charge(play(rate, 390 * MINUTES), currency="USD").total == total


# The most whole minutes whose price is not above the money, from the tariffs G1 and M1 above: derived.
INVERSE = [
    *[(G1, money, minutes) for money, minutes in [(100, 0), (200, 30), (499, 30), (500, 60), (510, 61), (600, 70)]],
    (G1, 650, 75),
    *[(M1, money, minutes) for money, minutes in [(200, 60), (500, 60), (600, 120), (1500, 120), (1600, 180)]],
    (M1, 5600, 420),
]


@pytest.mark.parametrize(("rate", "money", "minutes"), INVERSE)
def test_money_at_a_published_tariff_lasts_so_many_minutes(rate: Rate, money: int, minutes: int) -> None:
    assert lasts(play(rate, 24 * 60 * MINUTES), money=money, currency="USD").minutes == minutes
