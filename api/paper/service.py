"""What each printed page says: read from the folders below, written in words. Stores nothing."""

from dataclasses import replace
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlmodel import Session

from ..collections import queries as collections_queries
from ..collections.schemas import CollectionOut
from ..controllers.service import settings_sheet
from ..ledger.export.period import ExportPeriod
from ..pool_tables.cautions import LIFTING_CASH
from ..pool_tables.convert import cautions_at_controller, table_out
from ..pool_tables.service import get_table, page_tables, stays_of
from ..pricing import format_money
from ..quotes.price_grid import grid_lines, read_amounts
from ..quotes.queries import denominations
from ..reports.convert import statement_out
from ..reports.queries import read_statement
from ..schedules.queries import listed_at, place_of_venue
from ..store.db import work_of
from ..venues.rows import VenueRow
from ..venues.service import calendar_of, get_venue, names
from ..web.errors import Problem
from .convert import card_row, limitation_words, old_beside_new, printed_statement, step_words
from .page import PrintedPage, qr_code
from .week_card import AMOUNTS_MAX, buys, by_window, card_line, grouped, prices_of
from .words import date_words, moment_words, table_words

_ROWS_MAX = 10
_LINES_A_CARD, _BLANK_MIN = 12, 2
_TAGS_A_SHEET = 8
_STARTS_FROM = {
    "blank": "from a controller of which nothing is known",
    "keyed": "from what was keyed last",
    "found": "from what a reading found",
}


def zone_of_table(session: Session, table_id: UUID) -> ZoneInfo:
    """Return the time zone of the venue where a table stands or last stood."""
    last = next((stay.venue_id for stay in reversed(stays_of(session, table_id)) if stay.venue_id is not None), None)
    return ZoneInfo("UTC") if last is None else calendar_of(get_venue(session, last)).zone


def settings_page(session: Session, table_id: UUID, *, on: date | None, now: datetime) -> PrintedPage:
    """Return the settings sheet of a table: the steps with boxes to tick, and each price old beside new."""
    table = get_table(session, table_id)
    cautions = cautions_at_controller(table)
    sheet = settings_sheet(session, table_id, on=on, now=now, cautions=cautions)
    venue = get_venue(session, sheet.venue_id)
    values = {
        "holds_from": moment_words(sheet.holds_from.astimezone(calendar_of(venue).zone)),
        "values_to_key": sheet.plan.values_to_key,
        "starts_from": _STARTS_FROM[sheet.plan.starts_from],
        "cannot_hold": [limitation_words(row) for row in sheet.cannot_hold],
        "steps": [step_words(step) for step in sheet.plan.steps],
        "prices": old_beside_new(sheet),
    }
    return PrintedPage(
        template="settings_sheet",
        title="Settings sheet",
        where=f"{table_words(table.label, table.profile.get('frame_number'))}, {venue.name}",
        values=values,
        cautions=[caution.detail for caution in cautions],
    )


def price_card(session: Session, venue_id: UUID, *, on: date | None, now: datetime) -> PrintedPage:
    """Return the price card of a venue: the week of a trading date, and what each coin or note buys in each window.

    It is the card of the prices in force when the date ends: a weekday on which others hold is that of another week.
    Refuses ``no_schedule_yet`` where the venue has no prices in that week.
    """
    venue = get_venue(session, venue_id)
    timetable, calendar = listed_at(session, place_of_venue(session, venue_id)), calendar_of(venue)
    asked = on or calendar.trading_day(now)
    valid = prices_of(timetable, asked)
    amounts = read_amounts(denominations(session, [venue_id]).get(venue_id, ()), venue.currency)[-AMOUNTS_MAX:]
    if not amounts:
        raise Problem("no_table_there")
    work = work_of(session)
    week = {
        day: [
            card_line(lines, calendar)
            for lines in by_window(grid_lines(timetable, day, amounts, work=work), len(amounts))
        ]
        for day in (valid.like(day, calendar) for day in timetable.week(asked))
    }
    kept = [
        place for place in range(len(amounts)) if any(buys(line, place) for lines in week.values() for line in lines)
    ]
    week = {
        day: [replace(line, cells=tuple(line.cells[place] for place in kept if line.cells)) for line in lines]
        for day, lines in week.items()
    }
    return PrintedPage(
        template="price_card",
        title="Prices",
        where=venue.name,
        values={
            "valid": valid.words(calendar),
            "currency": venue.currency,
            "amounts": [format_money(amounts[place], venue.currency) for place in kept],
            "groups": grouped(week),
            "dates": [],
        },
        notices=[
            f"A day begins at {venue.day_starts_at:%H:%M} and ends at {venue.day_starts_at:%H:%M} the next morning."
        ],
    )


def statement_page(session: Session, venue: VenueRow, period: ExportPeriod) -> PrintedPage:
    """Return a venue's statement of a month or a year."""
    found = read_statement(session, venue=venue, period=period)
    return printed_statement(statement_out(found, venue=venue.name), period)


def table_card(session: Session, table_id: UUID) -> PrintedPage:
    """Return the ledger card of a table: its last collections, room for the next by hand, and where it has been."""
    table, zone, venues = get_table(session, table_id), zone_of_table(session, table_id), names(session)
    told = table_out(table)
    meters = [meter.name for meter in told.meters]
    rows = _last_collections(session, table_id)
    facts = [f"Takes {', '.join(told.accepts)}."]
    if told.licence is not None:
        until = f", expires {told.licence.expires_on}" if told.licence.expires_on else ""
        facts.append(f"Licence {told.licence.number}{until}.")
    here = stays_of(session, table_id)[-1]
    where = venues.get(str(here.venue_id), here.place.capitalize())
    return PrintedPage(
        template="table_card",
        title="Table card",
        where=f"{table_words(table.label, table.profile.get('frame_number'))}, {where}",
        values={
            "facts": facts,
            "meters": meters,
            "collections": [card_row(row, table_id, meters, zone, venues) for row in rows],
            "blank": max(_BLANK_MIN, _LINES_A_CARD - len(rows)),
            "places": [
                {
                    "on": date_words(stay.from_at.astimezone(zone).date()),
                    "place": venues.get(str(stay.venue_id), stay.place.capitalize()),
                }
                for stay in stays_of(session, table_id)
            ],
        },
    )


def bag_tags(session: Session, venue: VenueRow, *, address_of: str) -> PrintedPage:
    """Return tags for the bags of a venue, one a table, eight on a sheet; ``address_of`` is what an id is put behind."""
    tables = page_tables(session, venue.id, limit=500, after=None).rows
    if not tables:
        raise Problem("no_table_there")
    tags = [{"label": row.label, "qr": qr_code(f"{address_of}{row.id}")} for row in tables]
    return PrintedPage(
        template="bag_tags",
        title="Bag tags",
        where=venue.name,
        values={"sheets": [tags[i : i + _TAGS_A_SHEET] for i in range(0, len(tags), _TAGS_A_SHEET)]},
        cautions=[caution.detail for caution in LIFTING_CASH],
    )


def _last_collections(session: Session, table_id: UUID) -> list[CollectionOut]:
    """Return the last collections with a table that count, the latest last."""
    rows = collections_queries.last_collections_with(session, table_id, at_most=_ROWS_MAX)
    return [one for one in collections_queries.read_collections(session, rows) if one.status != "reversed"]
