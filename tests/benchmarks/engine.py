"""How many questions the engine answers in a second, and how that compares with a bare lookup.

Run it as ``python -m tests.benchmarks.engine``. It prints and asserts nothing about time. The lookup is what somebody
would write by hand for one week of one venue and this one question: a bisect for the window and divmods for the ladder. It
gives two numbers; the engine gives the window, its span, the lines, the next break and every kind that is sold.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta
from time import perf_counter
from zoneinfo import ZoneInfo

from baizebook.pricing import Calendar, Ladder, Rate, Rung, Schedule, Stretch, Tariff, Tier, Timetable, Weekly, quote

ZONE = ZoneInfo("America/New_York")
MONDAY = datetime(2026, 12, 7, 6, tzinfo=ZONE)
WEEKDAY = ((75, 1), (400, 6), (700, 11))
WEEKEND = ((100, 1), (500, 6))
EARLY = ((50, 1),)
SECONDS = 2.0

# Half-hours since Monday 06:00 from which a ladder holds: Monday to Thursday 15:00 to 18:00 early, Friday 18:00 to
# Monday 06:00 weekend, else weekday.
STARTS = [0, *(48 * day + half for day in range(4) for half in (18, 24)), 48 * 4 + 24]
HELD = [WEEKDAY, *(EARLY, WEEKDAY) * 4, WEEKEND]

Question = tuple[datetime, int]


def games(rungs: tuple[tuple[int, int], ...], *, metered: bool = False) -> Tariff:
    """Return a tariff that sells games by these rungs."""
    rate = Rate((Tier(0, 900, 60, 15),)) if metered else None
    return Tariff("USD", games=Ladder(tuple(Rung(*rung) for rung in rungs)), metered=rate, id=str(rungs))


def timetable(*, metered: bool) -> Timetable:
    """Return the week of STARTS and HELD as a venue's timetable."""
    weekend = games(WEEKEND, metered=metered)
    schedule = Schedule(
        id="week",
        base=games(WEEKDAY, metered=metered),
        weekly=(
            Weekly(name="Early", days=frozenset(range(4)), start=time(15), end=time(18), tariff=games(EARLY)),
            Weekly(name="Friday night", days=frozenset({4}), start=time(18), tariff=weekend),
            Weekly(name="Weekend", days=frozenset({5, 6}), tariff=weekend),
        ),
    )
    return Timetable(Calendar(ZONE), (Stretch(from_at=datetime(2026, 1, 1, tzinfo=UTC), schedule=schedule),))


def look_up(at: datetime, money: int) -> tuple[int, int]:
    """Return the games that money buys and what is left, by hand."""
    half_hours = (at - MONDAY) // timedelta(minutes=30)
    units = 0
    for pays, gives in reversed(HELD[bisect_right(STARTS, half_hours) - 1]):
        times, money = divmod(money, pays)
        units += times * gives
    return units, money


def per_second(answer: Callable[[datetime, int], object], questions: list[Question]) -> float:
    """Return how many questions are answered in a second."""
    answered, started = 0, perf_counter()
    while (took := perf_counter() - started) < SECONDS:
        for at, money in questions:
            answer(at, money)
        answered += len(questions)
    return answered / took


def main() -> None:
    """Check that both agree on the whole week, then time them."""
    prepaid, with_time = timetable(metered=False), timetable(metered=True)
    questions = [
        (MONDAY + timedelta(minutes=30 * half), money) for half in range(336) for money in (50, 300, 1000, 4375)
    ]
    for at, money in questions:
        offer = quote(prepaid, at=at, money=money).offers[0]
        if (offer.units, offer.left) != look_up(at, money):
            raise SystemExit(f"{at} {money}: the engine and the lookup differ")
    by_hand = per_second(look_up, questions)
    print(f"by hand, games         {by_hand:12,.0f} a second")
    for name, place in (("engine, games", prepaid), ("engine, with metered", with_time)):
        rate = per_second(lambda at, money, place=place: quote(place, at=at, money=money), questions)  # type: ignore[misc]
        print(f"{name:22} {rate:12,.0f} a second, {by_hand / rate:6.1f} times the work of the lookup")


if __name__ == "__main__":
    main()
