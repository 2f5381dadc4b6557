"""Calendars to subscribe to: a venue's windows, and work on the day on which it is due."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlmodel import Session

from ..paper.week_card import AMOUNTS_MAX, bought, by_window
from ..pricing import format_money
from ..quotes.price_grid import grid_lines, read_amounts
from ..quotes.queries import denominations
from ..schedules.queries import listed_at, place_of_venue
from ..store.db import work_of
from ..venues.service import calendar_of, get_venue
from ..web.errors import Problem, http_problem
from ..worklist.schemas import WorkOut
from .calendar_file import EVENTS_WRITTEN_MAX, CalendarEvent, calendar_file


def week_calendar(session: Session, venue_id: UUID, *, on: date | None, weeks: int, now: datetime) -> bytes:
    """Return the windows of a venue's weeks, from the week of a trading date on, as a calendar.

    Refuses (``too_much_work``) more windows than a calendar has events.
    """
    venue = get_venue(session, venue_id)
    timetable, calendar = listed_at(session, place_of_venue(session, venue_id)), calendar_of(venue)
    asked = on or calendar.trading_day(now)
    amounts = read_amounts(denominations(session, [venue_id]).get(venue_id, ()), venue.currency)[-AMOUNTS_MAX:] or [0]
    work, events = work_of(session), list[CalendarEvent]()
    monday = asked - timedelta(days=asked.weekday())
    for day in (monday + timedelta(days=later) for later in range(7 * weeks)):
        for lines in by_window(grid_lines(timetable, day, amounts, work=work), len(amounts)):
            first = lines[0]
            if first.window is None or first.window.from_at is None or first.window.to_at is None:
                continue
            if len(events) >= EVENTS_WRITTEN_MAX:
                raise too_many_events("query.weeks", smaller="ask for fewer weeks")
            start = calendar.local(first.window.from_at)
            said = [
                f"{format_money(line.amount_minor, venue.currency)} {venue.currency}: {bought(line)}"
                for line in lines
                if line.amount_minor and line.status == "open"
            ]
            tariff = first.window.tariff.code if first.window.tariff and first.status == "open" else first.status
            events.append(
                CalendarEvent(
                    key=f"window {venue_id} {day} {start:%H:%M}",
                    start=start,
                    end=calendar.local(first.window.to_at),
                    summary=f"{first.window.name}: {tariff}",
                    description="\n".join(said),
                    location=venue.name,
                )
            )
    return calendar_file(f"Prices, {venue.name}", events, stamp=now)


def too_many_events(where: str, *, smaller: str) -> Problem:
    """Build the refusal of a calendar that is too large; ``smaller`` says what to ask instead."""
    expected = f"at most {EVENTS_WRITTEN_MAX}: {smaller}"
    return http_problem("too_much_work", where=where, found=f"over {EVENTS_WRITTEN_MAX} events", expected=expected)


def work_calendar(
    items: Iterable[WorkOut], zones: Mapping[UUID, ZoneInfo], *, person: str | None, now: datetime
) -> bytes:
    """Return work as a calendar: each piece on the day at its venue on which it is due; refuse too many (``too_much_work``)."""
    events: list[CalendarEvent] = []
    for item in items:
        if len(events) >= EVENTS_WRITTEN_MAX:
            raise too_many_events("query.venue_id", smaller="ask for one venue or one person")
        zone = ZoneInfo("UTC") if item.venue_id is None else zones[item.venue_id]
        on = item.due_at.astimezone(zone).date()
        bring = f"\nBring: {', '.join(item.bring)}." if item.bring else ""
        cautions = "".join(f"\n{caution.detail}" for caution in item.cautions)
        events.append(
            CalendarEvent(
                key=f"work {item.id}",
                start=on,
                end=on + timedelta(days=1),
                summary=f"{item.kind.replace('_', ' ').capitalize()}: {item.table}",
                description=f"{item.reason}{bring}{cautions}",
                location=item.venue or "",
            )
        )
    return calendar_file(f"Work, {person}" if person else "Work", events, stamp=now)
