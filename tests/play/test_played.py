"""How a table was played: steps of its meters, the money paid for them, prices and windows."""

from collections import Counter
from datetime import UTC, datetime
from random import Random

import pytest
from baizebook.play.meter_steps import BoxEmptied, MeterStep, PaidStep, paid_by_boxes, paid_by_meter, steps_of_meter
from baizebook.play.played import InWindow, played, played_in_all
from baizebook.pricing import Ladder, Rung, Tariff
from baizebook.pricing.metered import Rate, Tier
from baizebook.pricing.timetable import Span
from baizebook.readings.meter_history import MetersRead, one_history
from baizebook.readings.meters import Meter

PLAYS = Meter("plays", "games", 6)
CASH = Meter("cash", "money", 7, unit_minor=25)
DOLLAR = Tariff("USD", games=Ladder((Rung(100, 1), Rung(400, 5))), id="dollar")
DEAR = Tariff("USD", games=Ladder((Rung(150, 1), Rung(600, 5), Rung(1000, 9))), id="dear")
HAPPY = Tariff("USD", games=Ladder((Rung(50, 1), Rung(200, 6))), id="happy")
ACCEPTS = (100, 500)


def on(day: int, hour: int = 12) -> datetime:
    return datetime(2026, 11, day, hour, tzinfo=UTC)


def span(start: datetime, end: datetime, name: str, tariff: Tariff | None) -> Span:
    return Span(start, end, start.date(), name, "weekly", tariff, "s", "venue")


def test_money_a_game_and_the_prices_of_two_steps_by_both_meters() -> None:
    read = [
        MetersRead(on(2), {"cash": 0, "plays": 0}),
        MetersRead(on(3), {"plays": 9}),
        MetersRead(on(9), {"cash": 136, "plays": 40}),
    ]
    history = one_history(readings=read)
    steps, paid = steps_of_meter(PLAYS, history), paid_by_meter(PLAYS, CASH, history, ())
    assert steps.known == (MeterStep(on(2), on(3), 9), MeterStep(on(3), on(9), 31))
    assert paid == [PaidStep(on(2), on(9), 40, 3400)]
    found = played(steps.known, paid, [span(on(1), on(30), "Base", DOLLAR)], "games", accepts=ACCEPTS, counted_in=25)
    assert (found.counted, found.money, found.money_units, found.told) == (40, 3400, 40, 40)
    assert found.prices == {Rung(100, 1): (10, 10), Rung(400, 5): (6, 6)}
    assert dict(found.windows) == {"Base": InWindow(40, 40, 3400)}
    assert not found.price_unknown
    assert not found.window_unknown


def test_a_step_over_two_windows_belongs_to_neither_and_a_gap_in_what_is_known_says_so() -> None:
    spans = [
        span(on(1), on(3), "Base", DOLLAR),
        span(on(3), on(4), "Happy", HAPPY),
        span(on(4), on(6), "Base", DOLLAR),
        span(on(8), on(30), "Base", DOLLAR),
    ]
    steps = [
        MeterStep(on(1), on(3), 5),
        MeterStep(on(3), on(4), 7),
        MeterStep(on(4), on(5), 11),
        MeterStep(on(5), on(7), 13),
        MeterStep(on(9), on(10), 17),
    ]
    found = played([*steps, MeterStep(on(2), on(4, 0), 19)], (), spans, "games")
    assert {name: window.counted for name, window in found.windows.items()} == {"Base": 5 + 11 + 17, "Happy": 7}
    assert found.window_unknown == {"several_windows": 19, "prices_unknown": 13}
    assert found.price_unknown == {"money_not_counted": 72}


@pytest.mark.parametrize(
    ("tariff", "why"),
    [
        (Tariff("USD", free=True), "free_play"),
        (None, "nothing_sold"),
        (Tariff("USD", games=DOLLAR.games, minutes=Ladder((Rung(400, 32),))), "other_kinds_sold"),
        (Tariff("USD", games=DOLLAR.games, metered=Rate((Tier(0, 900, 60, 15),))), "metered_time"),
    ],
)
def test_prices_cannot_be_told_where_money_bought_something_else(tariff: Tariff | None, why: str) -> None:
    found = played([], [PaidStep(on(2), on(9), 40, 3400)], [span(on(1), on(30), "Base", tariff)], "games")
    assert dict(found.price_unknown) == {why: 40}
    assert (found.money_units, found.money) == ((40, 3400) if why in ("free_play", "nothing_sold") else (0, 0))


def test_figures_that_contradict_each_other_are_said_to() -> None:
    found = played(
        [], [PaidStep(on(2), on(9), 40, 4100)], [span(on(1), on(30), "Base", DOLLAR)], "games", accepts=ACCEPTS
    )
    assert (found.price_unknown, found.prices) == ({"contradiction": 40}, {})


def test_where_nothing_was_sold_for_a_time_only_the_most_that_was_spent_is_known() -> None:
    """40 games for at most 34.00: at least six times the break, at most eight."""
    spans = [
        span(on(1), on(5), "Base", DOLLAR),
        span(on(5), on(6), "Closed", None),
        span(on(6), on(30), "Base", DOLLAR),
    ]
    found = played([], [PaidStep(on(2), on(9), 40, 3400)], spans, "games", accepts=ACCEPTS)
    assert found.prices == {Rung(100, 1): (0, 10), Rung(400, 5): (6, 8)}


def test_boxes_give_the_money_where_their_ends_were_read_and_test_games_are_taken_out() -> None:
    read = [
        MetersRead(on(2), {"plays": 10}),
        MetersRead(on(5), {"plays": 31}),
        MetersRead(on(9), {"plays": 53}),
        MetersRead(on(16), {}),
    ]
    steps = steps_of_meter(PLAYS, one_history(collections=read)).known
    boxes = [
        BoxEmptied(collection_id="a", from_at=on(2), to_at=on(9), money=3400, test_games=3),
        BoxEmptied(collection_id="b", from_at=on(9), to_at=on(16), money=1000, test_games=0),
    ]
    assert paid_by_boxes(steps, boxes) == [PaidStep(on(2), on(9), 40, 3400, tested=3, collection_id="a")]


def test_a_reading_inside_a_box_with_test_games_is_passed_over_for_money() -> None:
    read = [
        MetersRead(on(day), {"cash": cash, "plays": plays})
        for day, cash, plays in ((2, 0, 0), (5, 80, 23), (9, 136, 43))
    ]
    box = BoxEmptied(collection_id="a", from_at=on(2), to_at=on(9), money=3400, test_games=3)
    history = one_history(readings=read)
    assert paid_by_meter(PLAYS, CASH, history, [box]) == [PaidStep(on(2), on(9), 40, 3400, tested=3)]
    cut = one_history(readings=read[1:])
    assert [step.is_sure for step in paid_by_meter(PLAYS, CASH, cut, [box])] == [False]


def test_a_meter_that_went_down_or_was_reset_counts_for_nothing_there() -> None:
    read = [MetersRead(on(2), {"plays": 500}), MetersRead(on(3), {"plays": 480}), MetersRead(on(4), {"plays": 490})]
    read += [MetersRead(on(5), {"plays": 2}), MetersRead(on(6), {"plays": 7})]
    steps = steps_of_meter(PLAYS, one_history(readings=read), reset_at=[on(5)])
    assert (steps.known, steps.unknown) == ((MeterStep(on(3), on(4), 10), MeterStep(on(5), on(6), 5)), 2)


def test_tables_are_added_up() -> None:
    one = played(
        [MeterStep(on(2), on(9), 40)],
        [PaidStep(on(2), on(9), 40, 3400)],
        [span(on(1), on(30), "Base", DOLLAR)],
        "games",
        accepts=ACCEPTS,
    )
    both = played_in_all([one, one])
    assert (both.counted, both.money, both.told, both.prices[Rung(400, 5)]) == (80, 6800, 80, (12, 12))
    assert both.windows["Base"] == InWindow(80, 80, 6800)


def test_steps_with_a_gap_between_them_may_each_have_left_something() -> None:
    """Half a dollar was left before each, and paid for a game in it; of two neighbours that can be so of the first alone."""
    spans = [span(on(1), on(30), "Base", Tariff("USD", games=Ladder((Rung(100, 1),))))]
    steps = [PaidStep(on(2), on(3), 5, 450), PaidStep(on(4), on(5), 5, 450)]
    apart = played([], steps, spans, "games", accepts=(50,))
    assert (apart.told, apart.prices) == (10, {Rung(100, 1): (10, 10)})
    joined = played([], [steps[0], PaidStep(on(3), on(5), 5, 450)], spans, "games", accepts=(50,))
    assert joined.price_unknown == {"contradiction": 10}


def test_a_reading_and_a_collection_of_one_instant_do_not_cut_neighbours_apart() -> None:
    spans = [
        span(on(1), on(3), "Base", DOLLAR),
        span(on(3), on(4), "Happy", HAPPY),
        span(on(4), on(30), "Base", DOLLAR),
    ]
    steps = [
        PaidStep(on(2), on(3, 18), 20, 1700),
        PaidStep(on(3, 18), on(3, 18), 0, 0),
        PaidStep(on(3, 18), on(9), 20, 1700),
    ]
    both = [steps[0], steps[2]]
    assert played([], steps, spans, "games").prices == played([], both, spans, "games").prices


@pytest.mark.parametrize("seed", range(12))
def test_what_was_really_bought_lies_in_the_ranges_whatever_was_read_when(seed: int) -> None:
    """Purchases at two lists of prices by turns, with money left over from one to the next, and readings now and then."""
    random = Random(seed)
    spans = [
        span(on(day, hour), on(day + (hour == 12), 12 if hour == 0 else 0), name, tariff)
        for day in range(1, 28)
        for hour, name, tariff in ((0, "Base", DOLLAR), (12, "Dear", DEAR))
    ]
    bought: Counter[Rung] = Counter()
    steps: list[PaidStep] = []
    left = units = money = 0
    last = on(1, 0)
    for moment in spans:
        assert moment.tariff is not None
        assert moment.tariff.games is not None
        assert moment.from_at is not None
        for _ in range(random.randint(0, 4)):
            put_in = 25 * random.randint(1, 60)
            sale = moment.tariff.games.sell(put_in + left)
            left, units, money = sale.left, units + sale.units, money + put_in
            bought.update({sold.rung: sold.times for sold in sale.sold})
        if random.random() < 0.6 and moment.to_at is not None:
            steps.append(PaidStep(last, moment.to_at, units, money))
            last, units, money = moment.to_at, 0, 0
    if units or money:
        steps.append(PaidStep(last, spans[-1].to_at or last, units, money))
    found = played([], steps, spans, "games", accepts=(25, 100))
    assert not found.price_unknown
    assert found.told == sum(step.units for step in steps)
    for rung, (least, most) in found.prices.items():
        assert least <= bought[rung] <= most
    assert any(least > 0 for least, _ in found.prices.values())
