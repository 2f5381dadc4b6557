"""What a table sells (W8), against a simulated controller that remembers every minute of its week.

The simulator is written for this test: it knows nothing of timetables, fitting or stretches. It is keyed, read, moved and
given new boards at random, 2,000 histories long, and asked at random instants what it sells.
"""

import random
from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID

from baizebook.controllers.sells import (
    Fact,
    FoundWeek,
    Keyed,
    Machine,
    NewBoard,
    StayAt,
    known_settings,
    sells,
    sold_between,
)
from baizebook.controllers.week_settings import Day, Prices, SettingsWindow, WeekSettings
from baizebook.pool_tables.controller import Controller, Limits
from baizebook.pricing import Calendar, Ladder, Rung, Schedule, Stretch, Tariff, Timetable, Weekly, zone_named
from baizebook.pricing.week import WEEKDAYS

from tests.databases import DEEP

HISTORIES = 2_000 if DEEP else 500
"""Made-up lives of a controller; all 2,000 with ``BAIZEBOOK_TEST_DEEP=1``."""
START = datetime(2026, 3, 1, tzinfo=UTC)
HOUR = timedelta(hours=1)
VENUES = [
    (UUID(int=1), Calendar(zone_named("America/New_York"), time(6))),
    (UUID(int=2), Calendar(zone_named("Europe/Berlin"), time(5))),
    (UUID(int=3), Calendar(zone_named("Asia/Tokyo"), time(0))),
]
GAMES = [None, *(Ladder((Rung(100, units), Rung(500, units * 6))) for units in (1, 2, 3))]
MINUTES = [None, *(Ladder((Rung(400, units),)) for units in (20, 30))]

Sold = tuple[Ladder | None, Ladder | None]


def tariff(choose: random.Random, name: str) -> Tariff | None:
    games, minutes = choose.choice(GAMES), choose.choice(MINUTES)
    return Tariff("USD", games=games, minutes=minutes, id=name) if games or minutes else None


def schedule(choose: random.Random, name: str, opens: time) -> Schedule:
    weekly = []
    for number in range(choose.randrange(4)):
        starts, ends = sorted(choose.sample(range(1, 24), 2))
        hour = opens.hour
        weekly.append(
            Weekly(
                name=f"window {number}",
                days=frozenset(choose.sample(range(7), choose.randint(1, 7))),
                start=time((hour + starts) % 24, 30),
                end=time((hour + ends) % 24, 30),
                tariff=tariff(choose, f"{name}/{number}"),
            )
        )
    return Schedule(id=name, base=tariff(choose, name), weekly=tuple(weekly), day_starts_at=opens)


def what(sold: Tariff | None, controller: Controller) -> Sold:
    """What a controller of this test can hold of a tariff: one that sells games only drops the minutes."""
    if sold is None:
        return None, None
    return sold.games, sold.minutes if controller.minutes.sold else None


def wanted_at(plan: Schedule, label: int) -> Tariff | None:
    """What a schedule lists at a minute of the week on the wall clock, Monday 00:00 being 0: the last window that has it."""
    opens = plan.day_starts_at.hour * 60
    day, minute = divmod((label - opens) % 10_080, 1440)
    won = plan.base
    for window in plan.weekly:
        assert window.start is not None
        assert window.end is not None
        starts = (window.start.hour * 60 + window.start.minute - opens) % 1440
        ends = (window.end.hour * 60 + window.end.minute - opens) % 1440
        if day in window.days and starts <= minute < ends:
            won = window.tariff
    return won


def label_of(calendar: Calendar, at: datetime) -> int:
    local = calendar.local(at)
    return local.weekday() * 1440 + local.hour * 60 + local.minute


def found_week(choose: random.Random, controller: Controller) -> tuple[WeekSettings, list[tuple[int, int, Sold]]]:
    """Random settings as a reading finds them, and what they sell from which minute of the week to which."""
    days, memory = [], []
    for number, name in enumerate(WEEKDAYS):
        cut, windows = choose.choice((1440, 600, 1110)), []
        for starts, ends in ((0, cut), (cut, 1440)):
            if starts < ends:
                prices = Prices(choose.choice(GAMES), choose.choice(MINUTES) if controller.minutes.sold else None)
                windows.append(SettingsWindow(starts, ends, prices))
                first = number * 1440 + controller.day_turns_at + starts
                memory.append((first, first + ends - starts, (prices.games, prices.minutes)))
        days.append(Day(name, tuple(windows)))
    return WeekSettings(tuple(days)), memory


class Simulator:
    """A controller's memory over time: what it has sold, by minute of the week, since each instant; None: unknown."""

    def __init__(self) -> None:
        self.memories: list[tuple[datetime, object]] = []

    def sold(self, at: datetime, calendar: Calendar, controller: Controller) -> Sold | None:
        newest = None
        for since, memory in self.memories:
            if since <= at:
                newest = memory
        if newest is None:
            return None
        label = label_of(calendar, at)
        if isinstance(newest, Schedule):
            return what(wanted_at(newest, label), controller)
        assert isinstance(newest, list)
        return next(sold for first, last, sold in newest if first <= label < last or first <= label + 10_080 < last)


def history(seed: int) -> tuple[Machine, Simulator]:
    choose = random.Random(seed)
    controller = Controller(
        minutes=Limits(prices_max=choose.choice((0, None))), day_turns_at=choose.choice((0, 360, 735)), free=True
    )
    stays, facts, simulator = list[StayAt](), list[Fact](), Simulator()
    at, plans = START, {}
    for venue_id, calendar in VENUES:
        plan = schedule(choose, f"listed {venue_id.int}", calendar.day_starts_at)
        plans[venue_id] = [plan, schedule(choose, f"coming {venue_id.int}", calendar.day_starts_at)]
    for number in range(choose.randint(3, 12)):
        at += choose.randint(1, 2000) * HOUR
        event = choose.choice(("keyed", "keyed", "found", "board", "move", "workshop"))
        if event in ("move", "workshop") or number == 0:
            venue_id, calendar = choose.choice(VENUES)
            listed = Timetable(calendar, (Stretch(from_at=START - 9000 * HOUR, schedule=plans[venue_id][0]),))
            here = (venue_id, listed) if event != "workshop" or number == 0 else (None, None)
            stays.append(StayAt(id=UUID(int=100 + number), from_at=at, venue_id=here[0], listed=here[1]))
        elif event == "keyed":
            venue_id = choose.choice(VENUES)[0]
            plan = choose.choice(plans[venue_id])
            facts.append(Keyed(at=at, schedule=plan, venue_id=venue_id, effective_on=date(2026, 1, 1)))
            simulator.memories.append((at, plan))
        elif event == "found":
            week, memory = found_week(choose, controller)
            facts.append(FoundWeek(at=at, week=week))
            simulator.memories.append((at, memory))
        else:
            facts.append(NewBoard(at=at))
            simulator.memories.append((at, None))
    choose.shuffle(facts)
    return Machine(controller=controller, currency="USD", stays=tuple(stays), facts=tuple(facts)), simulator


def test_what_a_table_sells_is_what_a_simulated_controller_sells() -> None:
    asked = known = 0
    for seed in range(HISTORIES):
        machine, simulator = history(seed)
        choose = random.Random(-seed)
        for _ in range(4):
            at = machine.stays[0].from_at + timedelta(minutes=choose.randint(-60_000, 1_500_000))
            answer, stay = sells(machine, at), machine.stay(at)
            if stay.listed is None:
                assert answer is None
                continue
            assert answer is not None
            expected = simulator.sold(at, stay.listed.calendar, machine.controller)
            asked += 1
            if expected is None:
                assert (answer.basis, answer.caution) == ("listed", "never_keyed"), (seed, at)
                assert answer.span.tariff == stay.listed.at(at).tariff
                continue
            known += 1
            assert what(answer.span.tariff, machine.controller) == expected, (seed, at)
            listed = stay.listed.at(at).tariff
            as_listed = (listed.games, listed.minutes) if listed else (None, None)
            assert (answer.caution is not None) == (expected != as_listed), (seed, at)
    assert known > asked / 3 > HISTORIES / 2


def test_what_a_table_sold_between_two_instants_is_what_it_sold_at_each() -> None:
    for seed in range(100):
        machine, simulator = history(seed)
        choose = random.Random(-seed)
        start = machine.stays[0].from_at + choose.randint(0, 1000) * HOUR
        end = start + choose.randint(1, 400) * HOUR
        between = sold_between(machine, from_at=start, to_at=end)
        assert between.covered
        for _ in range(20):
            at = start + (end - start) * choose.random()
            stay = machine.stay(at)
            spans = [span for span in between.spans if span.from_at <= at < span.to_at]  # type: ignore[operator]
            if stay.listed is None:
                assert spans == []
                continue
            (span,) = spans
            expected = simulator.sold(at, stay.listed.calendar, machine.controller)
            sold = what(span.tariff, machine.controller)
            assert sold == (what(stay.listed.at(at).tariff, machine.controller) if expected is None else expected)


def test_of_facts_of_one_instant_a_finding_counts_after_a_keying_and_a_keying_after_a_new_board() -> None:
    calendar = VENUES[0][1]
    plan = Schedule(id="plan", base=Tariff("USD", games=GAMES[1], id="plan"))
    listed = Timetable(calendar, (Stretch(from_at=START, schedule=plan),))
    stay = StayAt(id=UUID(int=9), from_at=START, venue_id=VENUES[0][0], listed=listed)
    keyed = Keyed(at=START, schedule=plan, venue_id=VENUES[0][0], effective_on=date(2026, 3, 1))
    found = FoundWeek(at=START, week=found_week(random.Random(1), Controller())[0])

    def basis(*facts: Fact) -> str:
        machine = Machine(controller=Controller(), currency="USD", stays=(stay,), facts=facts)
        answer = sells(machine, START + HOUR)
        assert answer is not None
        return answer.basis

    assert basis(found, keyed, NewBoard(at=START)) == "found"
    assert basis(keyed, NewBoard(at=START)) == "keyed"
    assert basis(NewBoard(at=START)) == "listed"


def test_a_plan_starts_from_what_was_keyed_or_found_last_unless_the_board_is_new() -> None:
    plan = Schedule(id="plan", base=Tariff("USD", games=GAMES[1], id="plan"))
    stay = StayAt(id=UUID(int=9), from_at=START, venue_id=None, listed=None)
    keyed = Keyed(at=START, schedule=plan, venue_id=VENUES[0][0], effective_on=date(2026, 3, 1))
    machine = Machine(
        controller=Controller(), currency="USD", stays=(stay,), facts=(keyed, NewBoard(at=START + 2 * HOUR))
    )
    last, week, found = known_settings(machine, START + HOUR)
    assert (last, found) == (keyed, None)
    assert week is not None
    assert week.days[0].windows == (SettingsWindow(0, 1440, Prices(GAMES[1])),)
    assert known_settings(machine, START + 3 * HOUR) == (None, None, None)
