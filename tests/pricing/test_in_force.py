"""Which schedule is in force (W6), and what a table sells (W8)."""

from datetime import UTC, date, datetime, time

import pytest
from baizebook.pricing.errors import PricingError
from baizebook.pricing.in_force import Known, Listing, listed, sold
from baizebook.pricing.trading_day import Calendar, zone_named
from baizebook.pricing.week import Schedule

CALENDAR = Calendar(zone_named("America/New_York"))
OLD, NEW, OWN, THIRD = (Schedule(id=name, base=None) for name in ("old", "new", "own", "third"))


def utc(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def listing(schedule, effective_on, published_at):
    return Listing(schedule=schedule, effective_on=date.fromisoformat(effective_on), published_at=utc(published_at))


def held(timetable):
    """Since when which schedule holds, and whose it is: (instant, id, of)."""
    return [
        (f"{stretch.from_at:%Y-%m-%dT%H:%M}", stretch.schedule and stretch.schedule.id, stretch.of)
        for stretch in timetable.stretches
    ]


# W6: a venue's schedules


def test_a_schedule_holds_from_the_start_of_its_trading_day_until_the_next():
    timetable = listed(CALENDAR, [listing(OLD, "2026-01-10", "2026-01-01"), listing(NEW, "2026-02-01", "2026-01-20")])
    assert held(timetable) == [("2026-01-10T11:00", "old", "venue"), ("2026-02-01T11:00", "new", "venue")]
    assert timetable.at(utc("2026-02-01T10:59:59")).schedule_id == "old"
    assert timetable.at(utc("2026-02-01T11:00")).schedule_id == "new"


def test_a_schedule_published_after_its_day_began_holds_from_its_publication():
    timetable = listed(
        CALENDAR, [listing(OLD, "2026-01-10", "2026-01-01"), listing(NEW, "2026-02-01", "2026-02-05T15:30:00.5")]
    )
    assert held(timetable)[1] == ("2026-02-05T15:30", "new", "venue")
    assert timetable.at(utc("2026-02-05T15:30:00.499999")).schedule_id == "old"
    assert timetable.at(utc("2026-02-05T15:30:00.5")).schedule_id == "new"


def test_only_the_schedule_published_first_is_dated_back():
    timetable = listed(CALENDAR, [listing(OLD, "2026-01-10", "2026-01-20"), listing(NEW, "2025-12-01", "2026-01-21")])
    assert held(timetable) == [("2026-01-10T11:00", "old", "venue"), ("2026-01-21T00:00", "new", "venue")]


def test_of_two_for_one_date_the_later_published_holds_whatever_the_clock_showed():
    for earlier, later in (("2026-01-01", "2026-01-02"), ("2026-01-02", "2026-01-01")):
        both = [listing(OLD, "2026-01-10", earlier), listing(NEW, "2026-01-10", later)]
        assert held(listed(CALENDAR, both)) == [("2026-01-10T11:00", "new", "venue")]


def test_a_schedule_published_late_for_an_earlier_date_holds_until_the_next_one_starts():
    timetable = listed(
        CALENDAR,
        [
            listing(OLD, "2026-01-10", "2026-01-01"),
            listing(NEW, "2026-02-01", "2026-01-02"),
            listing(THIRD, "2026-01-20", "2026-01-25"),
        ],
    )
    assert held(timetable) == [
        ("2026-01-10T11:00", "old", "venue"),
        ("2026-01-25T00:00", "third", "venue"),
        ("2026-02-01T11:00", "new", "venue"),
    ]


def test_before_the_first_schedule_there_is_no_answer():
    timetable = listed(CALENDAR, [listing(OLD, "2026-01-10", "2026-01-01")])
    with pytest.raises(PricingError) as refused:
        timetable.at(utc("2026-01-10T10:59:59"))
    assert refused.value.code == "no_schedule_yet"
    with pytest.raises(PricingError) as refused:
        listed(CALENDAR, []).at(utc("2026-01-10T10:59:59"))
    assert refused.value.code == "no_schedule_yet"


# W6: a table's own


VENUE = [listing(OLD, "2026-01-01", "2026-01-01"), listing(NEW, "2026-03-01", "2026-01-01")]


def test_a_tables_own_schedule_beats_the_venues_also_newer_ones_until_it_follows_the_venue_again():
    own = [listing(OWN, "2026-02-01", "2026-01-15"), listing(None, "2026-04-01", "2026-03-20")]
    assert held(listed(CALENDAR, VENUE, own)) == [
        ("2026-01-01T11:00", "old", "venue"),
        ("2026-02-01T11:00", "own", "table"),
        ("2026-04-01T10:00", "new", "venue"),
    ]


def test_a_tables_own_schedule_is_never_dated_back():
    own = [listing(OWN, "2026-01-05", "2026-02-10")]
    assert held(listed(CALENDAR, VENUE, own)) == [
        ("2026-01-01T11:00", "old", "venue"),
        ("2026-02-10T00:00", "own", "table"),
    ]


def test_a_tables_own_schedule_ends_when_it_moves():
    own = [listing(OWN, "2026-02-01", "2026-01-15"), listing(THIRD, "2026-02-20", "2026-02-10")]
    assert held(listed(CALENDAR, VENUE, own, stay_from=utc("2026-02-10"))) == [
        ("2026-01-01T11:00", "old", "venue"),
        ("2026-02-20T11:00", "third", "table"),
    ]
    assert held(listed(CALENDAR, VENUE, own, stay_from=utc("2026-02-11"))) == held(listed(CALENDAR, VENUE))


def test_a_table_that_follows_a_venue_without_a_schedule_has_none():
    own = [listing(OWN, "2026-02-01", "2026-01-15"), listing(None, "2026-02-10", "2026-02-05")]
    timetable = listed(CALENDAR, [listing(NEW, "2026-03-01", "2026-02-01")], own)
    assert [schedule for _, schedule, _ in held(timetable)] == ["own", None, "new"]
    assert timetable.at(utc("2026-02-05")).to_at == utc("2026-02-10T11:00")
    with pytest.raises(PricingError) as refused:
        timetable.between(utc("2026-02-05"), utc("2026-03-05"))
    assert (refused.value.code, refused.value.faults[0].found) == ("no_schedule_yet", "2026-02-10T11:00:00+00:00")
    assert timetable.day(date(2026, 2, 10)) == ()
    assert timetable.opens_at(utc("2026-02-15")) is None


# W8


def test_a_table_sells_what_was_keyed_last_whatever_date_it_is_meant_for():
    venue = listed(CALENDAR, VENUE)
    table = sold(
        venue,
        [
            Known(schedule=NEW, since=utc("2026-02-20T15:00")),
            Known(schedule=OLD, since=utc("2026-01-03T15:00")),
        ],
    )
    assert held(table) == [("2026-01-01T11:00", "old", "venue"), ("2026-02-20T15:00", "new", "venue")]
    assert table.at(utc("2026-02-25")).schedule_id == "new"
    assert venue.at(utc("2026-02-25")).schedule_id == "old"


def test_a_table_goes_on_selling_what_was_keyed_when_a_new_schedule_is_listed():
    table = sold(listed(CALENDAR, VENUE), [Known(schedule=OLD, since=utc("2026-01-03"), of="venue")])
    assert table.at(utc("2026-05-01")).schedule_id == "old"


def test_before_the_first_keying_and_without_any_a_table_sells_what_is_listed():
    venue = listed(CALENDAR, VENUE)
    table = sold(venue, [Known(schedule=OWN, since=utc("2026-03-05"), of="table")])
    assert [of for _, _, of in held(table)] == ["venue", "venue", "table"]
    assert table.at(utc("2026-03-04")).schedule_id == "new"
    assert table.at(utc("2026-03-05")).of == "table"
    assert sold(venue, []) == venue


def test_where_nothing_is_known_any_more_a_table_sells_what_is_listed():
    known = [Known(schedule=OLD, since=utc("2026-01-03")), Known(schedule=None, since=utc("2026-03-10"))]
    table = sold(listed(CALENDAR, VENUE), known)
    assert (table.at(utc("2026-03-09")).schedule_id, table.at(utc("2026-03-10")).schedule_id) == ("old", "new")


def test_of_two_facts_of_one_instant_the_later_in_the_list_counts():
    table = sold(
        listed(CALENDAR, VENUE),
        [Known(schedule=NEW, since=utc("2026-01-03")), Known(schedule=THIRD, since=utc("2026-01-03"))],
    )
    assert held(table)[-1] == ("2026-01-03T00:00", "third", "venue")


def test_a_schedule_made_for_another_start_of_the_day_is_refused():
    with pytest.raises(PricingError) as refused:
        listed(CALENDAR, [listing(Schedule(id="x", base=None, day_starts_at=time(5)), "2026-01-10", "2026-01-01")])
    assert refused.value.code == "other_day_start"
