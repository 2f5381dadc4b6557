"""A league's calendar as entries of a schedule: RFC 5545's own examples, and what no entry can say."""

import time as clock_time
from datetime import date, time
from zoneinfo import ZoneInfo

import pytest
from baizebook.date_sets.calendar_entries import ReadEvent, VenueClock, entries_of
from baizebook.date_sets.calendar_file import BYTES_MAX, EVENTS_READ_MAX, REPEATING_MAX, read_calendar_file
from baizebook.pricing.errors import DomainError
from baizebook.schedules.recurrence import Recurrence

NEW_YORK = "America/New_York"
OF_THE_RFC = """\
BEGIN:VTIMEZONE
TZID:{tzid}
LAST-MODIFIED:20050809T050000Z
BEGIN:STANDARD
DTSTART:20071104T020000
RRULE:FREQ=YEARLY;BYMONTH=11;BYDAY=1SU
TZOFFSETFROM:-0400
TZOFFSETTO:-0500
TZNAME:EST
END:STANDARD
BEGIN:DAYLIGHT
DTSTART:20070311T020000
RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=2SU
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
END:VTIMEZONE
"""
"""Published: RFC 5545, 3.6.5, the time zone of New York (its newest rules)."""


def calendar(*parts: str) -> bytes:
    text = "\n".join(("BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Example//League//EN", *parts, "END:VCALENDAR", ""))
    return "\r\n".join(line for line in text.split("\n") if line).encode() + b"\r\n"


def event(*lines: str, uid: str = "match@league.example") -> str:
    return "\n".join(("BEGIN:VEVENT", f"UID:{uid}", "SUMMARY:League night", *lines, "END:VEVENT"))


def read(
    *parts: str, zone: str = NEW_YORK, starts: time = time(6), from_on: date = date(2007, 1, 1)
) -> list[ReadEvent]:
    return list(entries_of(read_calendar_file(calendar(*parts)), VenueClock(ZoneInfo(zone), starts), from_on=from_on))


def first(*lines: str, zone: str = NEW_YORK, starts: time = time(6), from_on: date = date(2007, 1, 1)) -> ReadEvent:
    return read(event(*lines), zone=zone, starts=starts, from_on=from_on)[0]


def dates(found: ReadEvent, last: date) -> list[str]:
    """Return the trading dates of an event's recurring entry up to a date."""
    (entry,) = found.recurring
    rule = Recurrence(
        date.fromisoformat(entry["starts_on"]),
        entry["rrule"],
        frozenset(map(date.fromisoformat, entry.get("except_on", ()))),
    )
    days = (date.fromordinal(n) for n in range(rule.starts_on.toordinal(), last.toordinal() + 1))
    return [str(on) for on in days if on in rule]


@pytest.mark.parametrize(
    ("start", "rule", "expected"),
    [
        ("0902", "FREQ=WEEKLY;COUNT=10", "09-02 09-09 09-16 09-23 09-30 10-07 10-14 10-21 10-28 11-04"),
        ("0902", "FREQ=WEEKLY;UNTIL=20031007T000000Z;WKST=SU;BYDAY=TU,TH",
         "09-02 09-04 09-09 09-11 09-16 09-18 09-23 09-25 09-30 10-02"),
        ("0901", "FREQ=WEEKLY;INTERVAL=2;UNTIL=20031224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
         "09-01 09-03 09-05 09-15 09-17 09-19 09-29 10-01 10-03 10-13 10-15 10-17 10-27 10-29 10-31 11-10 11-12 11-14 11-24 "
         "11-26 11-28 12-08 12-10 12-12 12-22"),
        ("0905", "FREQ=MONTHLY;COUNT=10;BYDAY=1FR", "09-05 10-03 11-07 12-05"),
        ("0902", "FREQ=DAILY;INTERVAL=10;COUNT=5", "09-02 09-12 09-22 10-02 10-12"),
        ("0902", "FREQ=DAILY;COUNT=10", "09-02 09-03 09-04 09-05 09-06 09-07 09-08 09-09 09-10 09-11"),
    ],
)  # fmt: skip
def test_the_rules_that_the_rfc_gives_as_examples(start: str, rule: str, expected: str) -> None:
    """Published: RFC 5545, 3.8.5.3, up to the end of its year 1997; 2003 has the same calendar."""
    found = first(
        f"DTSTART;TZID={NEW_YORK}:2003{start}T090000", "DURATION:PT2H", f"RRULE:{rule}", from_on=date(2003, 1, 1)
    )
    assert found.outcome == "taken", found.why
    assert [on[5:] for on in dates(found, date(2003, 12, 31))] == expected.split()


@pytest.mark.parametrize(
    ("tzid", "zone_of_the_file"),
    [(NEW_YORK, ""), ("US/Eastern", ""), ("Eastern Standard Time", ""), ("League clock", OF_THE_RFC)],
)
def test_a_zone_is_a_name_of_iana_or_windows_or_what_the_file_says(tzid: str, zone_of_the_file: str) -> None:
    own = zone_of_the_file.format(tzid=tzid).strip()
    night = event(f"DTSTART;TZID={tzid}:20260707T190000", "DURATION:PT3H30M", "RRULE:FREQ=WEEKLY")
    (found,) = read(*filter(None, [own, night]))
    assert (found.outcome, found.why) == ("taken", "")
    entry = {"name": "League night", "starts_on": "2026-07-07", "rrule": "FREQ=WEEKLY", "from": "19:00", "to": "22:30"}
    assert found.recurring == (entry,)


def test_two_files_may_mean_different_zones_by_one_name() -> None:
    night = event("DTSTART;TZID=League clock:20260707T190000", "DURATION:PT3H")
    other = OF_THE_RFC.replace("-0400", "-0700").replace("-0500", "-0800")
    for own, start in ((OF_THE_RFC, "19:00"), (other, "22:00")):
        (found,) = read(own.format(tzid="League clock").strip(), night)
        assert found.dates[0]["from"] == start


def test_utc_floating_and_all_day() -> None:
    assert first("DTSTART:20261202T000000Z", "DTEND:20261202T040000Z").dates == (
        {"name": "League night", "on": "2026-12-01", "from": "19:00", "to": "23:00"},
    )
    assert first("DTSTART:20261201T190000", "DTEND:20261201T230000").dates[0]["from"] == "19:00"
    days = first("DTSTART;VALUE=DATE:20261204", "DTEND;VALUE=DATE:20261206").dates
    assert days == tuple({"name": "League night", "on": on} for on in ("2026-12-04", "2026-12-05"))
    assert first("DTSTART;VALUE=DATE:20261204").dates == ({"name": "League night", "on": "2026-12-04"},)
    yearly = first("DTSTART;VALUE=DATE:20261224", "RRULE:FREQ=YEARLY").recurring
    assert yearly == ({"name": "League night", "starts_on": "2026-12-24", "rrule": "FREQ=YEARLY"},)


def test_utc_that_comes_again_is_taken_where_the_clock_never_changes_and_refused_where_it_does() -> None:
    night = ("DTSTART:20261202T020000Z", "DURATION:PT2H", "RRULE:FREQ=WEEKLY;BYDAY=WE;UNTIL=20270203T020000Z")
    (entry,) = first(*night, zone="America/Phoenix").recurring
    assert entry == {
        "name": "League night", "starts_on": "2026-12-01", "from": "19:00", "to": "21:00",
        "rrule": "FREQ=WEEKLY;UNTIL=20270202;BYDAY=TU;WKST=SU",
    }  # fmt: skip
    refused = first(*night[:2], "RRULE:FREQ=WEEKLY;BYDAY=WE")
    assert refused.outcome == "refused"
    assert "begins at 21:00 on 2026-12-01, and at 22:00 on 2027-03-16" in refused.why
    assert first(*night).outcome == "taken", "it ends before summer time"


def test_after_midnight_belongs_to_the_trading_day_before() -> None:
    found = first("DTSTART:20261205T010000", "DTEND:20261205T020000", "RRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=SA,SU")
    assert found.recurring[0]["rrule"] == "FREQ=WEEKLY;INTERVAL=2;BYDAY=FR,SA;WKST=SU"
    assert dates(found, date(2026, 12, 31)) == ["2026-12-04", "2026-12-05", "2026-12-18", "2026-12-19"]
    monthly = first("DTSTART:20261201T010000", "DTEND:20261201T020000", "RRULE:FREQ=MONTHLY;BYMONTHDAY=1")
    assert (monthly.outcome, "cannot be moved" in monthly.why) == ("refused", True)


def test_moved_cancelled_excepted_and_added_occurrences() -> None:
    start = f"DTSTART;TZID={NEW_YORK}:20261201T190000"
    found = read(
        event(
            start, "DURATION:PT4H", "RRULE:FREQ=WEEKLY", f"EXDATE;TZID={NEW_YORK}:20261208T190000,20261215T190000",
            "EXDATE:20261230T000000Z", f"RDATE;TZID={NEW_YORK}:20261204T190000,20261222T190000",
        ),
        event(f"RECURRENCE-ID;TZID={NEW_YORK}:20270105T190000", f"DTSTART;TZID={NEW_YORK}:20270106T200000", "DURATION:PT2H"),
        event(f"RECURRENCE-ID;TZID={NEW_YORK}:20270112T190000", "STATUS:CANCELLED"),
        event("STATUS:CANCELLED", "DTSTART:20261201T190000", "DURATION:PT1H", uid="off@league.example"),
    )  # fmt: skip
    assert [one.outcome for one in found] == ["taken", "taken", "cancelled", "cancelled"], found
    excepted = ["2026-12-08", "2026-12-15", "2026-12-29", "2027-01-05", "2027-01-12"]
    assert found[0].recurring[0]["except_on"] == excepted
    assert [(one["on"], one["from"]) for one in found[0].dates] == [("2026-12-04", "19:00")]
    assert found[1].dates == ({"name": "League night", "on": "2027-01-06", "from": "20:00", "to": "22:00"},)
    assert [one.event.line for one in found] == [4, 14, 21, 27]


def test_what_is_over_is_passed() -> None:
    later = {"from_on": date(2026, 12, 1)}
    for lines in (
        ("DTSTART:20261101T190000", "DURATION:PT1H"),
        ("DTSTART:20261101T190000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY;COUNT=4"),
        ("DTSTART:20261101T190000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY;UNTIL=20261130"),
    ):
        assert first(*lines, **later).outcome == "passed"
    assert first("DTSTART:20261101T190000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY;COUNT=6", **later).outcome == "taken"


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        (("DTSTART:20261201T190000",), "no end"),
        (("DURATION:PT1H",), "no start"),
        (("DTSTART:20261201T190000", "DTEND:20261201T190000"), "no end after its start"),
        (("DTSTART:20261201T190000", "DTEND:20261201T180000"), "no end after its start"),
        (("DTSTART:20261201T190000", "DTEND:20261203T190000"), "when the next trading day starts"),
        (("DTSTART:20261201T190000", "DTEND:20261202T070000"), "it goes on after 06:00"),
        (("DTSTART:20261201T190030", "DURATION:PT1H"), "whole minutes"),
        (("DTSTART:20261201T190000", "DTEND;VALUE=DATE:20261202"), "the other has a time"),
        (("DTSTART:20261201T190000", "DTEND:20261201T200000", "DURATION:PT1H"), "both DTEND and DURATION"),
        (("DTSTART;VALUE=DATE:20261201", "DTEND;VALUE=DATE:20270301"), "it lasts 90 days"),
        (("DTSTART;VALUE=DATE:20261204", "DTEND;VALUE=DATE:20261206", "RRULE:FREQ=WEEKLY"), "more than a day"),
        (("DTSTART;TZID=Nowhere/Land:20261201T190000", "DURATION:PT1H"), "Nowhere/Land is known neither"),
        (("DTSTART:20261201T190000", "DTEND:20261202T000000Z"), "in none"),
        (("DTSTART:20261201T190000", "DURATION:PT1H", "RRULE:FREQ=SECONDLY"), "none that a schedule takes"),
        (("DTSTART:20261201T190000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY;BYHOUR=19"), "none that a schedule takes"),
        (("DTSTART:20261201T190000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY;BYDAY=WE"), "starts_on"),
        (("DTSTART:20261201T190000", "DURATION:PT1H", "RRULE:FREQ=DAILY;COUNT=100000"), "none that a schedule takes"),
        (("DTSTART:20261201T190000", "DURATION:PT1H", "RRULE:FREQ=DAILY", "RRULE:FREQ=WEEKLY"), "RRULE is there twice"),
        (("DTSTART:20261201T190000", "DURATION:PT1H", "EXRULE:FREQ=WEEKLY"), "EXRULE"),
        (("DTSTART:20261201T190000", "DURATION:PT1H", "RRULE:FREQ=DAILY", "EXDATE:20261202T200000"), "no occurrence"),
        (("DTSTART:20261201T190000", "DURATION:PT1H", "RRULE:FREQ=DAILY", "EXDATE;VALUE=DATE:20261202"), "by a date"),
        (("DTSTART:20261201T190000", "DURATION:PT1H", "RDATE;VALUE=PERIOD:20261204T190000Z/PT1H"), "period"),
        (("DTSTART:yesterday", "DURATION:PT1H"), "DTSTART"),
        (("DTSTART:20261301T190000", "DURATION:PT1H"), "DTSTART"),
        (("DTSTART:19850101T190000", "DURATION:PT1H", "RRULE:FREQ=DAILY"), "it begins in 1985"),
        (("DTSTART:20261201T190000", "DURATION:P99999999999D"), ""),
    ],
)  # fmt: skip
def test_what_an_entry_cannot_say_is_refused_in_words(lines: tuple[str, ...], why: str) -> None:
    found = first(*lines)
    assert found.outcome == "refused"
    assert why in found.why
    assert (found.recurring, found.dates) == ((), ())


def test_events_of_one_uid_are_taken_or_refused_together() -> None:
    night = event("DTSTART:20261201T190000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY")
    moved = event("RECURRENCE-ID;RANGE=THISANDFUTURE:20261208T190000", "DTSTART:20261209T190000", "DURATION:PT1H")
    stray = event("RECURRENCE-ID:20261209T190000", "DTSTART:20261210T190000", "DURATION:PT1H")
    alone = event("RECURRENCE-ID:20261209T190000", "DTSTART:20261210T190000", "DURATION:PT1H", uid="alone")
    for parts in ((night, moved), (night, stray), (night, night)):
        assert {one.outcome for one in read(*parts)} == {"refused"}
    assert "missing" in read(alone)[0].why
    assert read(event("DTSTART:20261201T190000", "DURATION:PT1H", uid=""))[0].outcome == "refused"


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "no VCALENDAR"),
        (b"name,time_zone\nThe Tin Heron,UTC\n", "text outside of a calendar"),
        (b"\xff\xfe\x00", "no UTF-8"),
        (b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", "without END:VEVENT"),
        (b"BEGIN:VCALENDAR\r\nEND:VEVENT\r\n", "END:VEVENT at line 2"),
        (b"BEGIN:VEVENT\r\nEND:VEVENT\r\n", "BEGIN:VEVENT at line 1"),
        (b"BEGIN:VCALENDAR\r\n" * 9, "BEGIN:VCALENDAR at line 9"),
        (b"BEGIN:VCALENDAR\r\nX:" + b"\r\n y" * 30_000 + b"\r\nEND:VCALENDAR\r\n", "a line of more than"),
        (b"x" * (BYTES_MAX + 1), f"{BYTES_MAX + 1} bytes"),
        (calendar(*["BEGIN:VEVENT\nEND:VEVENT"] * (EVENTS_READ_MAX + 1)), f"more than {EVENTS_READ_MAX} events"),
        (calendar(*[event("RRULE:FREQ=DAILY")] * (REPEATING_MAX + 1)), "events that repeat"),
    ],
)  # fmt: skip
def test_what_is_no_calendar_of_a_league_is_refused(content: bytes, found: str) -> None:
    with pytest.raises(DomainError) as refused:
        read_calendar_file(content)
    assert refused.value.code == "bad_calendar"
    assert found in str(refused.value)


def test_hostile_rules_and_zones_end_soon() -> None:
    began = clock_time.process_time()
    days = ",".join(str(day) for day in range(1, 29))
    rule = f"RRULE:FREQ=YEARLY;COUNT=1000;BYMONTHDAY={days};BYDAY=MO,TU,WE,TH,FR,SA,SU"
    lines = ("DTSTART;TZID=US/Eastern:20000101T190000", "DURATION:PT1H", rule)
    assert (
        len(read(*(event(*lines, uid=f"u{n}") for n in range(REPEATING_MAX)), from_on=date(2026, 1, 1)))
        == REPEATING_MAX
    )
    zone = OF_THE_RFC.format(tzid="Odd").replace("FREQ=YEARLY;BYMONTH=11;BYDAY=1SU", "FREQ=SECONDLY").strip()
    (found,) = read(zone, event("DTSTART;TZID=Odd:20260707T190000", "DURATION:PT1H"))
    assert "none of a time zone" in found.why
    assert clock_time.process_time() - began < 20
