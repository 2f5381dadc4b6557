"""What a table's meters say of themselves: a series starts over, is reset at collections, contradicts another."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from baizebook.collections.meter_baseline import Stay
from baizebook.health.meter_health import MeterHealth, judge_meters
from baizebook.readings.meter_history import MeterHistory, MetersRead, one_history
from baizebook.readings.meters import Meter

START = datetime(2026, 11, 2, 12, tzinfo=UTC)
CASH = Meter("cash", "money", 5, unit_minor=25)
BILLS = Meter("bills", "money", 5, unit_minor=100)
AT_COLLECTION = Meter("cash", "money", 5, "at_collection", unit_minor=25)


def day(number: int) -> datetime:
    return START + timedelta(days=number)


def counts(*values: int, name: str = "cash") -> list[MetersRead]:
    return [MetersRead(day(n), {name: value}) for n, value in enumerate(values)]


def judged(
    meters: list[Meter],
    readings: list[MetersRead],
    *,
    reset_at: Sequence[datetime] = (),
    collected_at: Sequence[datetime] = (),
) -> tuple[MeterHealth, ...]:
    return judge_meters(meters, MeterHistory(tuple(readings), tuple(collected_at)), reset_at=reset_at)


def test_a_meter_that_was_never_read_says_nothing() -> None:
    assert judged([CASH], [MetersRead(START, {"plays": 5})]) == ()


def test_a_first_reading_is_a_baseline() -> None:
    (health,) = judged([CASH], counts(500))
    assert (health.newest.kind, health.counted, health.since_at) == ("baseline", 0, day(0))


def test_a_reset_that_is_reported_starts_again_with_the_next_reading() -> None:
    (health,) = judged([CASH], counts(500, 600, 20, 50), reset_at=[day(1) + timedelta(hours=1)])
    assert (health.since_at, health.counted, health.reviews) == (day(2), 30, ())


def test_a_reading_that_reports_the_reset_shows_the_meter_as_it_was_left() -> None:
    (health,) = judged([CASH], counts(500, 0, 50), reset_at=[day(1)])
    assert (health.since_at, health.counted) == (day(1), 50)


def test_a_meter_reset_at_collection_starts_at_zero_after_one() -> None:
    (health,) = judged([AT_COLLECTION], counts(100, 400, 60), collected_at=[day(1)])
    assert (health.newest.kind, health.newest.delta, health.counted) == ("counted", 60, 360)


def test_a_meter_reset_at_collection_that_falls_without_one_needs_review() -> None:
    (health,) = judged([AT_COLLECTION], counts(100, 400, 60))
    assert [(delta.before, delta.value) for delta in health.reviews] == [(400, 60)]


def test_a_value_that_the_meter_cannot_show_any_more_is_passed_over() -> None:
    (health,) = judged([Meter("cash", "money", 3, unit_minor=25)], counts(900, 1_500, 950))
    assert (health.newest.value, health.counted) == (950, 50)


def test_two_money_meters_that_tell_one_story_do_not_contradict() -> None:
    readings = [MetersRead(day(0), {"cash": 0, "bills": 0}), MetersRead(day(1), {"cash": 40, "bills": 10})]
    assert [health.disagreement for health in judged([CASH, BILLS], readings)] == [None, None]


def test_meters_are_compared_over_the_readings_that_have_both() -> None:
    readings = [
        MetersRead(day(0), {"cash": 0}),
        MetersRead(day(1), {"cash": 400, "bills": 0}),
        MetersRead(day(2), {"cash": 440, "bills": 9}),
        MetersRead(day(3), {"bills": 80}),
    ]
    cash, bills = judged([CASH, BILLS], readings)
    assert cash.disagreement is not None
    assert bills.disagreement is not None
    assert (cash.disagreement.one.least_minor, cash.disagreement.other.least_minor) == (1000, 900)
    assert (bills.disagreement.one.least_minor, bills.disagreement.apart_minor) == (900, 100)


def test_less_than_one_count_of_the_coarser_meter_is_no_contradiction() -> None:
    # 41 quarters are 10.25, of which a meter of whole dollars has counted 10; at 11.00 it should have counted another
    start = MetersRead(day(0), {"cash": 100, "bills": 100})
    for quarters, apart in ((41, None), (43, None), (44, 100)):
        readings = [start, MetersRead(day(1), {"cash": 100 + quarters, "bills": 110})]
        found = [health.disagreement for health in judged([CASH, BILLS], readings)]
        assert [other and other.apart_minor for other in found] == [apart, apart]


def test_a_meter_that_needs_review_contradicts_nobody() -> None:
    readings = [MetersRead(day(0), {"cash": 500, "bills": 0}), MetersRead(day(1), {"cash": 100, "bills": 10})]
    assert [health.disagreement for health in judged([CASH, BILLS], readings)] == [None, None]


def test_one_history_has_readings_collections_and_moves_in_the_order_of_time() -> None:
    history = one_history(
        readings=[MetersRead(day(0), {"cash": 100}), MetersRead(day(3), {"cash": 140})],
        collections=[MetersRead(day(1), {"cash": 120})],
        stays=[
            Stay(from_at=day(0), venue_id=None, meters={"cash": 90}, box="emptied"),
            Stay(from_at=day(2), venue_id=None, meters={"cash": 130}, box="travels"),
            Stay(from_at=day(4), venue_id=None, meters={}, box="emptied"),
        ],
    )
    assert [counts.values["cash"] for counts in history.counts] == [100, 120, 130, 140]
    assert history.emptied_at == (day(1), day(4))
    (health,) = judge_meters([CASH], history)
    assert (health.newest.value, health.counted, health.since_at) == (140, 40, day(0))


def test_a_reading_at_the_instant_of_a_collection_was_taken_before_the_meter_was_reset() -> None:
    history = one_history(
        readings=[
            MetersRead(day(0), {"cash": 100}),
            MetersRead(day(1), {"cash": 160}),
            MetersRead(day(2), {"cash": 30}),
        ],
        collections=[MetersRead(day(1), {"cash": 160})],
    )
    (health,) = judge_meters([AT_COLLECTION], history)
    assert (health.counted, health.reviews) == (90, ())


def test_a_reading_below_what_a_collection_showed_needs_review() -> None:
    history = one_history(
        readings=[MetersRead(day(2), {"cash": 900})], collections=[MetersRead(day(1), {"cash": 1000})]
    )
    (health,) = judge_meters([CASH], history)
    assert [(delta.before, delta.value) for delta in health.reviews] == [(1000, 900)]
