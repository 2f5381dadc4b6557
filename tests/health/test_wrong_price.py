"""What a wrong clock sells wrongly in a week."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from baizebook.health.wrong_price import SoldSpan, WrongPair, wrong_price
from baizebook.pricing.errors import DomainError
from hypothesis import given
from hypothesis import strategies as st

MONDAY = datetime(2026, 12, 7, 6, tzinfo=UTC)
WEEK = timedelta(days=7)


def hours(n: float) -> datetime:
    return MONDAY + timedelta(hours=n)


def week(*cuts: tuple[float, str | None]) -> list[SoldSpan]:
    """A week from Monday 06:00: from so many hours on, this holds."""
    ends = [*(hours(start) for start, _ in cuts[1:]), MONDAY + WEEK]
    return [(hours(start), end, key) for (start, key), end in zip(cuts, ends, strict=True)]


# Monday 15:00 to 18:00 early play; Saturday 20:00 to Sunday 02:00 weekend play.
HALL = week((0, "base"), (9, "early"), (12, "base"), (134, "weekend"), (140, "base"))


def test_a_right_clock_sells_everything_right() -> None:
    found = wrong_price(HALL, offset_s=0)

    assert (found.seconds, found.sales, found.changes, found.pairs) == (0, (), (), ())


def test_a_clock_an_hour_slow_opens_and_closes_every_window_an_hour_late() -> None:
    found = wrong_price(HALL, offset_s=-3600)

    assert [(change.due_at, change.made_at, change.to_key) for change in found.changes] == [
        (hours(9), hours(10), "early"),
        (hours(12), hours(13), "base"),
        (hours(134), hours(135), "weekend"),
        (hours(140), hours(141), "base"),
    ]
    assert [(sale.from_at, sale.to_at, sale.sells, sale.instead_of) for sale in found.sales] == [
        (hours(9), hours(10), "base", "early"),
        (hours(12), hours(13), "early", "base"),
        (hours(134), hours(135), "base", "weekend"),
        (hours(140), hours(141), "weekend", "base"),
    ]
    assert found.seconds == 4 * 3600


def test_a_clock_ten_minutes_fast_makes_every_change_ten_minutes_early() -> None:
    found = wrong_price(HALL, offset_s=600)

    assert found.changes[0].made_at == hours(9) - timedelta(minutes=10)
    assert found.seconds == 4 * 600
    assert (found.sales[0].sells, found.sales[0].instead_of) == ("early", "base")


def test_a_clock_twelve_hours_off_sells_the_whole_window_wrongly_twice() -> None:
    found = wrong_price(week((0, "base"), (9, "early"), (12, "base")), offset_s=43_200)

    assert found.pairs == (WrongPair("base", "early", 3 * 3600), WrongPair("early", "base", 3 * 3600))


def test_a_wrong_weekday_moves_monday_s_window_to_tuesday() -> None:
    found = wrong_price(week((0, "base"), (9, "early"), (12, "base")), offset_s=-86_400)

    assert [(sale.from_at, sale.sells) for sale in found.sales] == [(hours(9), "base"), (hours(33), "early")]


def test_the_week_goes_round() -> None:
    sunday_night = week((0, "base"), (166, "late"))  # to the week's end on Monday 06:00

    found = wrong_price(sunday_night, offset_s=-3600)

    assert [(sale.from_at, sale.to_at, sale.sells) for sale in found.sales] == [
        (hours(0), hours(1), "late"),
        (hours(166), hours(167), "base"),
    ]
    assert [change.due_at for change in found.changes] == [hours(166), hours(168)]


def test_a_change_due_at_the_very_start_of_the_week_is_not_to_come() -> None:
    before_and_after = [
        (hours(-24), hours(0), "early"),
        (hours(0), hours(10), "base"),
        (hours(10), hours(168), "late"),
        (hours(168), hours(200), "late"),
    ]
    found = wrong_price(before_and_after, offset_s=-3600, week_from=MONDAY)

    assert [change.due_at for change in found.changes] == [hours(10)]
    assert [(sale.from_at, sale.sells, sale.instead_of) for sale in found.sales] == [
        (hours(0), "early", "base"),
        (hours(10), "base", "late"),
    ]


def test_a_new_price_in_the_week_makes_no_wrong_sale_at_the_other_end_of_it() -> None:
    new_on_thursday = [(hours(-84), hours(72), "old"), (hours(72), hours(252), "new")]

    for offset_s, wrong_from in ((3600, hours(71)), (-3600, hours(72))):
        found = wrong_price(new_on_thursday, offset_s=offset_s, week_from=MONDAY)
        assert [(sale.from_at, sale.seconds) for sale in found.sales] == [(wrong_from, 3600)]
        assert [change.due_at for change in found.changes] == [hours(72)]


def test_a_clock_years_behind_sells_as_one_behind_by_the_rest_of_a_week() -> None:
    assert wrong_price(HALL, offset_s=-500_000 * 604_800 - 3600) == wrong_price(HALL, offset_s=-3600)


def test_closed_is_what_holds_where_nothing_is_sold() -> None:
    found = wrong_price(week((0, None), (4, "base"), (20, None)), offset_s=-1800)

    assert set(found.pairs) == {WrongPair(None, "base", 1800), WrongPair("base", None, 1800)}


def test_two_spans_of_one_tariff_make_no_change() -> None:
    assert wrong_price(week((0, "base"), (24, "base"), (48, "base")), offset_s=7200).changes == ()


@pytest.mark.parametrize(
    "spans",
    [
        [],
        [(hours(1), hours(1), "a")],
        [(hours(0), hours(2), "a"), (hours(3), hours(4), "b")],
        [(hours(0), hours(2), "a"), (hours(1), hours(4), "b")],
        [(datetime(2026, 12, 7), datetime(2026, 12, 8), "a")],  # noqa: DTZ001
        [(hours(0), hours(167), "a")],
    ],
    ids=["none", "empty", "gap", "overlap", "no offset", "no week"],
)
def test_spans_that_are_no_week_are_refused(spans: list[SoldSpan]) -> None:
    with pytest.raises(DomainError):
        wrong_price(spans, offset_s=60)


@given(
    st.lists(
        st.tuples(st.integers(1, 167), st.sampled_from(["a", "b", None])), max_size=8, unique_by=lambda cut: cut[0]
    ),
    st.integers(-168, 168),
)
def test_it_is_what_comparing_hour_by_hour_finds(cuts: list[tuple[int, str | None]], ahead: int) -> None:
    spans = week((0, "base"), *sorted(cuts, key=lambda cut: cut[0]))
    holds = [next(key for from_at, to_at, key in spans if from_at <= hours(h) < to_at) for h in range(168)]
    wrong = [(holds[(h + ahead) % 168], holds[h]) for h in range(168)]

    found = wrong_price(spans, offset_s=ahead * 3600)

    for sells, instead_of in set(wrong):
        expected = wrong.count((sells, instead_of)) * 3600 if sells != instead_of else 0
        assert sum(p.seconds for p in found.pairs if (p.sells, p.instead_of) == (sells, instead_of)) == expected
    assert found.seconds == sum(3600 for sells, instead_of in wrong if sells != instead_of)
