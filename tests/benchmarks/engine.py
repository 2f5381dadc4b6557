"""A quote in process against a lookup written by hand.

The lookup is what somebody would write for one week of one venue and this one question: a bisect for the window and divmods
for the ladder; no answer can be quicker. It gives two numbers; the engine gives the window, its span, the lines, the next
break and every kind that is sold, for any week.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from baizebook.pricing import Calendar, Ladder, Rate, Rung, Schedule, Stretch, Tariff, Tier, Timetable, Weekly, quote

from tests.benchmarks.figure import Figure, compare, cpu_seconds

ZONE = ZoneInfo("America/New_York")
MONDAY = datetime(2026, 12, 7, 6, tzinfo=ZONE)
WEEKDAY = ((75, 1), (400, 6), (700, 11))
WEEKEND = ((100, 1), (500, 6))
EARLY = ((50, 1),)

# Half-hours since Monday 06:00 from which a ladder holds: Monday to Thursday 15:00 to 18:00 early, Friday 18:00 to
# Monday 06:00 weekend, else weekday.
STARTS = [0, *(48 * day + half for day in range(4) for half in (18, 24)), 48 * 4 + 24]
HELD = [WEEKDAY, *(EARLY, WEEKDAY) * 4, WEEKEND]


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


def run(*, rounds: int) -> Iterator[Figure]:
    """Check that both agree on the whole week, then time them."""
    questions = [
        (MONDAY + timedelta(minutes=30 * half), money) for half in range(336) for money in (50, 300, 1000, 4375)
    ]
    prepaid, with_time = timetable(metered=False), timetable(metered=True)
    for at, money in questions:
        offer = quote(prepaid, at=at, money=money).offers[0]
        if (offer.units, offer.left) != look_up(at, money):
            raise SystemExit(f"{at} {money}: the engine and the lookup differ")

    def by_hand() -> float:
        return cpu_seconds(lambda: [look_up(at, money) for at, money in questions * 4], pieces=4 * len(questions))

    for name, kinds, place, reach in (
        ("N1", "games", prepaid, 8.0),
        ("N1b", "games and metered time", with_time, 25.0),
    ):

        def engine(place: Timetable = place) -> float:
            asked = (quote(place, at=at, money=money) for at, money in questions)
            return cpu_seconds(lambda: deque(asked, maxlen=0), pieces=len(questions))

        figure = Figure(name, f"a quote, {kinds}", "the lookup by hand, games", reach)
        yield compare(figure, engine, by_hand, rounds=rounds)
