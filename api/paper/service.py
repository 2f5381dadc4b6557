"""What each printed page says: read from the folders below, written in words. Stores nothing."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta, tzinfo
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlmodel import Session

from ..collections import queries as collections_queries
from ..collections.schemas import CollectionOut
from ..controllers.schemas import CannotHoldOut, PlanStepOut, SheetOut
from ..controllers.service import settings_sheet
from ..health.battery_forecast import Forecast
from ..health.clock_changes import next_change
from ..health.clock_offset import ClockReading, walk
from ..health.service import health_of
from ..health.state_of_charge import SupplyReading
from ..ledger.export.period import ExportPeriod
from ..pool_tables.cautions import LIFTING_CASH
from ..pool_tables.convert import cautions_at_controller, table_out
from ..pool_tables.rows import PoolTableRow
from ..pool_tables.service import get_table, page_tables, stays_of
from ..pricing import Calendar, Timetable, format_money, parse_money
from ..quotes.price_grid import GridLine, grid_lines, read_amounts
from ..quotes.queries import denominations
from ..readings.schemas import FoundDayOut, FoundWindowOut
from ..reports.convert import statement_out
from ..reports.queries import read_statement
from ..reports.schemas import DifferencesOut
from ..schedules.queries import listed_at, place_of_venue
from ..store.db import work_of
from ..trips.schemas import TripOut, TripStopOut
from ..venues.rows import VenueRow
from ..venues.service import calendar_of, get_venue, names
from ..web.csv_text import CsvText, csv_text, text_cell
from ..web.errors import Problem, http_problem
from ..worklist.schemas import WorkOut
from .calendar_file import EVENTS_WRITTEN_MAX, CalendarEvent, calendar_file
from .line_chart import Series, SeriesKind, TimeChart, time_chart
from .page import PrintedPage, qr_code
from .week_card import CardLine, grouped
from .week_picture import WeekBox, week_picture
from .words import date_words, days_words, hours_words, ladder_words, moment_words, sentences, units_words

_AMOUNTS_MAX = 6
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
        "cannot_hold": [_limitation(row) for row in sheet.cannot_hold],
        "steps": [_step(step) for step in sheet.plan.steps],
        "prices": _old_beside_new(sheet),
    }
    return PrintedPage(
        template="settings_sheet",
        title="Settings sheet",
        where=f"{_named(table)}, {venue.name}",
        values=values,
        cautions=[caution.detail for caution in cautions],
    )


def price_card(session: Session, venue_id: UUID, *, on: date | None, now: datetime) -> PrintedPage:
    """Return the price card of a venue: the week of a trading date, and what each coin or note buys in each window.

    Refuses ``no_schedule_yet`` where the venue has no prices in that week.
    """
    venue = get_venue(session, venue_id)
    timetable, calendar = listed_at(session, place_of_venue(session, venue_id)), calendar_of(venue)
    asked = on or calendar.trading_day(now)
    amounts = read_amounts(denominations(session, [venue_id]).get(venue_id, ()), venue.currency)[-_AMOUNTS_MAX:]
    if not amounts:
        raise Problem("no_table_there")
    work = work_of(session)
    week = {
        day: [
            _card_line(lines, calendar)
            for lines in _by_window(grid_lines(timetable, day, amounts, work=work), len(amounts))
        ]
        for day in timetable.week(asked)
    }
    kept = [
        place for place in range(len(amounts)) if any(_buys(line, place) for lines in week.values() for line in lines)
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
            "valid": _valid(timetable, asked),
            "currency": venue.currency,
            "amounts": [format_money(amounts[place], venue.currency) for place in kept],
            "groups": grouped(week),
            "dates": [],
        },
        notices=[
            f"A day begins at {venue.day_starts_at:%H:%M} and ends at {venue.day_starts_at:%H:%M} the next morning."
        ],
    )


def collection_slip(collection: CollectionOut, venue: VenueRow) -> PrintedPage:
    """Return the slip of a collection, in two copies with two signatures each."""
    settlement = collection.settlement
    notices = {"reversed": ["Taken back: this collection no longer counts."]}.get(collection.status, [])
    return PrintedPage(
        template="slip",
        title="Collection",
        where=venue.name,
        values={
            "collected": moment_words(collection.collected_at.astimezone(calendar_of(venue).zone)),
            "collector": collection.collector,
            "witness": collection.witness,
            "bag": collection.bag,
            "seal": collection.seal,
            "currency": collection.currency,
            "counted": collection.counted,
            "tables": [
                {
                    "label": table.label,
                    "counts": " · ".join(f"{count} × {value}" for value, count in table.counts.items() if count),
                    "refunds": table.refunds_from_box,
                    "counted": table.counted,
                }
                for table in collection.tables
            ],
            "lines": [] if settlement is None else settlement.lines,
            "handed_over": ""
            if settlement is None
            else _handed_over(collection.counted, settlement.to_bag, collection.currency),
            "to_bag": "" if settlement is None else settlement.to_bag,
        },
        cautions=[caution.detail for caution in LIFTING_CASH],
        notices=notices,
    )


def _handed_over(counted: str, to_bag: str, currency: str) -> str:
    """Return what the venue has in its hand: all that was counted but the bag, with refunds and house money."""
    return format_money(parse_money(counted, currency) - parse_money(to_bag, currency), currency)


def statement_page(session: Session, venue: VenueRow, period: ExportPeriod) -> PrintedPage:
    """Return a venue's statement of a month or a year."""
    found = statement_out(read_statement(session, venue=venue, period=period), venue=venue.name)
    columns = [name for name in _STATEMENT_HEADS if any(_is_some(getattr(line.figures, name)) for line in found.lines)]
    payees = [
        f"{who.payee or who.legal_name or venue.name}"
        + (f", {who.legal_name}" if who.legal_name and who.legal_name != who.payee else "")
        + (f", tax number {who.tax_number}" if who.tax_number else "")
        + ("" if len(found.payees) == 1 else f" ({who.from_on} to {who.to_on})")
        for who in found.payees
    ]
    return PrintedPage(
        template="statement",
        title="Statement",
        where=f"{venue.name}, {date_words(period.from_on)} to {date_words(period.to_on)}",
        values={
            "payees": payees,
            "currency": found.currency,
            "heads": [_STATEMENT_HEADS[name] for name in columns],
            "from_on": period.from_on,
            "to_on": period.to_on,
            "opening": found.opening.payable_to_venue,
            "closing": found.closing.payable_to_venue,
            "last_word": found.last_word or "",
            "loan": found.closing.loan if _is_some(found.closing.loan) else "",
            "lines": [
                {
                    "on": line.on,
                    "number": line.number,
                    "what": line.reference or line.kind.replace("_", " ").capitalize(),
                    "amounts": [_blank_if_none(getattr(line.figures, name)) for name in columns],
                    "after": line.after.payable_to_venue,
                }
                for line in found.lines
            ],
            "totals": [getattr(found.totals, name) for name in columns],
            "carried": found.carried_forward,
        },
        notices=["Figures follow the agreement and the tax rates that were entered. They are no tax or legal advice."],
    )


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
        where=f"{_named(table)}, {where}",
        values={
            "facts": facts,
            "meters": meters,
            "collections": [_card_row(row, table_id, meters, zone, venues) for row in rows],
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


def week_calendar(session: Session, venue_id: UUID, *, on: date | None, weeks: int, now: datetime) -> bytes:
    """Return the windows of a venue's weeks, from the week of a trading date on, as a calendar.

    Refuses (``too_much_work``) more windows than a calendar has events.
    """
    venue = get_venue(session, venue_id)
    timetable, calendar = listed_at(session, place_of_venue(session, venue_id)), calendar_of(venue)
    asked = on or calendar.trading_day(now)
    amounts = read_amounts(denominations(session, [venue_id]).get(venue_id, ()), venue.currency)[-_AMOUNTS_MAX:] or [0]
    work, events = work_of(session), list[CalendarEvent]()
    monday = asked - timedelta(days=asked.weekday())
    for day in (monday + timedelta(days=later) for later in range(7 * weeks)):
        for lines in _by_window(grid_lines(timetable, day, amounts, work=work), len(amounts)):
            first = lines[0]
            if first.window is None or first.window.from_at is None or first.window.to_at is None:
                continue
            if len(events) >= EVENTS_WRITTEN_MAX:
                raise too_many_events("query.weeks", smaller="ask for fewer weeks")
            start = calendar.local(first.window.from_at)
            bought = [
                f"{format_money(line.amount_minor, venue.currency)} {venue.currency}: {_bought(line)}"
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
                    description="\n".join(bought),
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


def week_boxes(
    session: Session, venue_id: UUID, *, on: date | None, now: datetime
) -> tuple[VenueRow, list[WeekBox], Calendar]:
    """Return a venue's week as boxes: one for each window of each trading day; refuse (``no_schedule_yet``) one without."""
    venue = get_venue(session, venue_id)
    timetable, calendar = listed_at(session, place_of_venue(session, venue_id)), calendar_of(venue)
    week = timetable.week(on or calendar.trading_day(now))
    boxes = [
        WeekBox(
            on=day,
            starts=calendar.local(span.from_at),
            ends=calendar.local(span.to_at),
            name=span.name,
            sells="closed" if span.tariff is None else "free" if span.tariff.free else span.tariff.code,
            is_closed=span.tariff is None,
        )
        for day, spans in week.items()
        for span in spans
        if span.from_at is not None and span.to_at is not None
    ]
    return venue, boxes, calendar


def week_svg(session: Session, venue_id: UUID, *, on: date | None, now: datetime) -> str:
    """Return the picture of a venue's week."""
    venue, boxes, calendar = week_boxes(session, venue_id, on=on, now=now)
    days = sorted({box.on for box in boxes})
    return week_picture(
        f"{venue.name}, week of {date_words(days[0])}",
        boxes,
        day_starts={day: calendar.local(calendar.day_starts(day)) for day in days},
        day_ends={day: calendar.local(calendar.day_starts(day + timedelta(days=1))) for day in days},
    )


def week_csv(session: Session, venue_id: UUID, *, on: date | None, now: datetime) -> CsvText:
    """Return the numbers of that picture."""
    _, boxes, _ = week_boxes(session, venue_id, on=on, now=now)
    columns = ("on", "from_at", "to_at", "window", "sells")
    return csv_text(
        columns, ((box.on, box.starts, box.ends, text_cell(box.name), text_cell(box.sells)) for box in boxes)
    )


def battery_svg(session: Session, table_id: UUID, *, now: datetime, here_only: bool) -> str:
    """Return the picture of a battery: its voltages, the level that decides, and the forecast with its band."""
    health = health_of(session, table_id, now=now, here_only=here_only)
    readings = [(one.taken_at, one.battery_mv / 1000) for one in _local(health.facts.supply, health.facts.zone)]
    table, judged = get_table(session, table_id), health.battery
    series, levels, notes = [Series(points=readings, kind="marks")], [], [health.why_no_battery or ""]
    if judged is not None:
        level = judged.level_mv / 1000
        levels = [(level, f"{level:.2f} V: {judged.level.removesuffix('_mv').replace('_', ' ')}")]
        notes = [judged.why, *judged.caveats]
        if judged.forecast is not None and readings:
            ahead = judged.forecast
            series += [
                Series(
                    points=[readings[-1], (datetime.combine(day, time(12), health.facts.zone), ahead.level_mv / 1000)],
                    kind=kind,
                )
                for day, kind in _forecast_lines(ahead)
            ]
            notes.append(
                f"Line: reaches {ahead.level_mv / 1000:.2f} V about {date_words(ahead.reaches_on)}. Dashed: its band, "
                f"from {date_words(ahead.earliest_on)} to "
                f"{'no date' if ahead.latest_on is None else date_words(ahead.latest_on)}."
            )
        elif judged.why_no_forecast is not None:
            notes.append(f"No forecast. {judged.why_no_forecast.detail}")
    return time_chart(
        TimeChart(
            title=f"Battery of {_named(table)}",
            description=" ".join(filter(None, notes)),
            series=series,
            value_words=lambda volts: f"{volts:.2f}",
            levels=levels,
            notes=[note for note in notes if note],
        )
    )


def battery_csv(session: Session, table_id: UUID, *, now: datetime, here_only: bool) -> CsvText:
    """Return the numbers of that picture."""
    facts = health_of(session, table_id, now=now, here_only=here_only).facts
    lines = ((one.taken_at, f"{one.battery_mv / 1000:.3f}") for one in _local(facts.supply, facts.zone))
    return csv_text(("taken_at", "volts"), lines)


def clock_svg(session: Session, table_id: UUID, *, now: datetime, here_only: bool) -> str:
    """Return the picture of a clock: how far it was off at each reading, and when the clocks changed."""
    health = health_of(session, table_id, now=now, here_only=here_only)
    table, zone = get_table(session, table_id), health.facts.zone
    points = _offsets(health.facts.clock, zone)
    changes = []
    if points:
        change = next_change(zone, after=points[0][0])
        while change is not None and change.at <= points[-1][0]:
            changes.append(
                (change.at, f"clocks {'on' if change.shift_s > 0 else 'back'} {abs(change.shift_s) // 60} min")
            )
            change = next_change(zone, after=change.at + timedelta(days=1))
    notes = [health.clock.health.why if health.clock else health.why_no_clock or ""]
    return time_chart(
        TimeChart(
            title=f"Clock of {_named(table)}: minutes ahead",
            description=" ".join(notes),
            series=[Series(points=points), Series(points=points, kind="marks")],
            value_words=lambda minutes: f"{minutes:+.1f}".replace("-0.0", "+0.0"),
            levels=[(0.0, "right")],
            instants=changes,
            notes=notes,
        )
    )


def clock_csv(session: Session, table_id: UUID, *, now: datetime, here_only: bool) -> CsvText:
    """Return the numbers of that picture."""
    facts = health_of(session, table_id, now=now, here_only=here_only).facts
    return csv_text(
        ("taken_at", "minutes_ahead"), ((at, f"{value:.2f}") for at, value in _offsets(facts.clock, facts.zone))
    )


def differences_svg(found: DifferencesOut, *, name: str) -> str:
    """Return the picture of counted and expected cash: the difference of each collection, its average, and the limits."""
    points = [(point.collected_at, float(point.difference_percent)) for point in found.points]
    average = [
        (point.collected_at, float(point.ewma_percent)) for point in found.points if point.ewma_percent is not None
    ]
    limit = None if found.ewma_limit_percent is None else float(found.ewma_limit_percent)
    notes = [*(signal.detail for signal in found.signals), found.why_no_chart or "", found.notice]
    return time_chart(
        TimeChart(
            title=f"Over and short, {name}",
            description=" ".join(filter(None, notes)),
            series=[Series(points=points, kind="marks"), *([Series(points=average)] if average else [])],
            value_words=lambda percent: f"{percent:+.2f} %".replace("-0.00", "+0.00"),
            levels=[(0.0, "as expected"), *([] if limit is None else [(limit, "limit"), (-limit, "limit")])],
            notes=[
                "Marks: counted less expected." + (" Line: their average." if average else ""),
                *(note for note in notes if note),
            ],
        )
    )


def differences_csv(found: DifferencesOut) -> CsvText:
    """Return the numbers of that picture."""
    columns = (
        "collected_at",
        "collection_id",
        "expected",
        "counted",
        "difference",
        "currency",
        "difference_percent",
        "ewma_percent",
    )
    return csv_text(
        columns,
        (
            [getattr(point, name) if getattr(point, name) is not None else "" for name in columns]
            for point in found.points
        ),
    )


def _forecast_lines(ahead: Forecast) -> list[tuple[date, SeriesKind]]:
    band: list[tuple[date, SeriesKind]] = [(ahead.earliest_on, "dashed")]
    if ahead.latest_on is not None:
        band.append((ahead.latest_on, "dashed"))
    return [(ahead.reaches_on, "line"), *band]


def _local(readings: Iterable[SupplyReading], zone: tzinfo) -> list[SupplyReading]:
    """Return readings in time order, each at its venue's local time."""
    return sorted(
        (replace(one, taken_at=one.taken_at.astimezone(zone)) for one in readings), key=lambda one: one.taken_at
    )


def _offsets(readings: Sequence[ClockReading], zone: tzinfo) -> list[tuple[datetime, float]]:
    """Return by how many minutes a clock was ahead at each reading, the middle of what its display leaves open."""
    found = walk(readings, zone)
    pairs = zip(found.readings, found.offsets, strict=True)
    return [(reading.taken_at.astimezone(zone), offset.middle_s / 60) for reading, offset in pairs]


def _bought(line: GridLine) -> str:
    return units_words(
        line.games and line.games.units, line.minutes and line.minutes.units, line.metered and line.metered.units
    )


def trip_page(trip: TripOut) -> PrintedPage:
    """Return the sheet of a trip: what to bring, and each stop with its work, a box to tick at each table."""
    bring = trip.bring
    items = [f"Key: {key}" for key in bring.keys]
    items += [f"Settings sheet: {sheet.table}, {sheet.venue}" for sheet in bring.sheets]
    items += [f"{part.item}: {', '.join(part.tables)}" for part in (*bring.parts, *bring.items)]
    items += [f"Coins to try tables: {one.amount} {one.currency}" for one in bring.floats]
    items += [f"Bags: {bring.bags}, seals: {bring.seals}"] if bring.bags or bring.seals else []
    return PrintedPage(
        template="trip",
        title="Trip",
        where=f"{date_words(trip.on)}, {trip.person}",
        values={
            "bring": items,
            "round_km": "" if trip.round_km is None else f"{trip.round_km:.0f}",
            "state": "" if trip.end is None else sentences(f"{trip.state.capitalize()}: {trip.end.words}".rstrip(": ")),
            "stops": [_stop(stop) for stop in trip.stops],
        },
        cautions=[caution.detail for caution in trip.cautions],
    )


def _stop(stop: TripStopOut) -> dict[str, object]:
    hours = ", ".join(hours_words(one.from_local, one.to_local) for one in stop.hours or ())
    amounts = ", ".join(f"{one.amount} {one.currency}" for one in stop.carried.amounts) or "no cash"
    return {
        "place": stop.place,
        "venue": stop.venue,
        "where": sentences(stop.address, stop.contact, f"Open {hours}" if hours else "", stop.notes),
        "tables": [
            {
                "label": table.label,
                "tasks": [
                    *(["Empty the box."] if table.empty else []),
                    *(one.reason for one in table.work),
                    *(sentences(f"Fault: {job.fault.replace('_', ' ')}", job.words) for job in table.jobs),
                    *([f"Read: {', '.join(table.read)}."] if table.read else []),
                ],
                "expected": f"{table.box.amount} {table.box.currency}" if table.empty and table.box else "",
            }
            for table in stop.tables
        ],
        "carried": f"Carried from here on: {amounts}, {stop.carried.coins_kg} kg of coins. Bags here: {stop.bags}.",
    }


_STATEMENT_HEADS = {
    "counted": "Counted",
    "tax": "Tax",
    "first_money": "First money",
    "venue_share": "Venue's share",
    "refunds_and_house_money": "Refunds, house money",
    "loan_repaid": "Loan repaid",
    "paid_to_venue": "Paid to venue",
    "opening_balance": "Opening balance",
    "loan_advanced": "Loan advanced",
}


def _named(table: PoolTableRow) -> str:
    frame = table.profile.get("frame_number")
    return f"{table.label} (frame {frame})" if frame else table.label


def _is_some(amount: str) -> bool:
    return bool(amount.strip("-0."))


def _blank_if_none(amount: str) -> str:
    return amount if _is_some(amount) else ""


def _limitation(row: CannotHoldOut) -> dict[str, str]:
    times: dict[str, list[str]] = {}
    for place in row.places:
        times.setdefault(f"{place.from_:%H:%M}–{place.to:%H:%M} {place.name}", []).append(place.day)
    places = "; ".join(f"{days_words(days)} {when}" for when, days in times.items())
    return {"found": row.found, "limit": row.limit, "instead": row.instead, "places": places}


def _step(step: PlanStepOut) -> dict[str, object]:
    return {"words": step.words, "boxes": [f"{value.name} {value.value}" for value in step.values]}


def _old_beside_new(sheet: SheetOut) -> list[dict[str, object]]:
    """Return a row for each window of each day, days that are alike as one."""
    old = {day.day: day for day in sheet.days_now or ()}
    alike: dict[tuple[tuple[str, str, str], ...], list[str]] = {}
    for day in sheet.days:
        rows = tuple(
            (f"{window.from_:%H:%M} to {window.to:%H:%M}", _old_in(old.get(day.day), window), _prices(window))
            for window in day.windows
        )
        alike.setdefault(rows, []).append(day.day)
    return [
        {
            "days": days_words(days) if place == 0 else "",
            "times": times,
            "old": before,
            "new": after,
            "same": before == after,
        }
        for rows, days in alike.items()
        for place, (times, before, after) in enumerate(rows)
    ]


def _old_in(day: FoundDayOut | None, window: FoundWindowOut) -> str:
    """Return what a day sold in the time of a window: each price list once, with its times where there are several."""
    if day is None:
        return "not known"
    meets = [one for one in day.windows if _minutes(one, day) & _minutes(window, day)]
    lists = list(dict.fromkeys(_prices(one) for one in meets))
    if len(lists) == 1:
        return lists[0]
    return "; ".join(f"{one.from_:%H:%M}–{one.to:%H:%M} {_prices(one)}" for one in meets)


def _minutes(window: FoundWindowOut, day: FoundDayOut) -> set[int]:
    """Return the quarters of an hour of a window, from the first of its day on."""
    turns = day.windows[0].from_.hour * 60 + day.windows[0].from_.minute
    starts, ends = ((at.hour * 60 + at.minute - turns) % 1440 for at in (window.from_, window.to))
    return set(range(starts, ends or 1440, 1))


def _prices(window: FoundWindowOut) -> str:
    if window.free:
        return "free"
    kinds = (("games", window.games), ("minutes", window.minutes))
    told = [
        ladder_words([(price.price, price.units) for price in ladder.prices], kind, counting=ladder.counting)
        for kind, ladder in kinds
        if ladder is not None
    ]
    return "; ".join(told) or "closed"


def _by_window(lines: Iterable[GridLine], amounts: int) -> list[list[GridLine]]:
    found = list(lines)
    return [found[i : i + amounts] for i in range(0, len(found), amounts)]


def _card_line(lines: Sequence[GridLine], calendar: Calendar) -> CardLine:
    first = lines[0]
    if first.window is None or first.window.from_at is None or first.window.to_at is None:
        return CardLine("all day", "", (), "no prices yet")
    starts, ends = (calendar.local(at) for at in (first.window.from_at, first.window.to_at))
    times = hours_words(starts.time(), ends.time())
    name = "" if first.window.kind == "base" else first.window.name
    if first.status != "open":
        return CardLine(times, name, (), first.status)
    cells = tuple(_bought(line) for line in lines)
    return CardLine(times, name, cells)


def _buys(line: CardLine, place: int) -> bool:
    return bool(line.cells) and line.cells[place] != units_words(None, None, None)


def _valid(timetable: Timetable, on: date) -> str:
    """Say from when the prices of a trading date are valid, and until when where that is listed."""
    calendar = timetable.calendar
    start = calendar.day_starts(on)
    begun = [stretch for stretch in timetable.stretches if stretch.from_at <= start + timedelta(days=1)]
    later = [stretch for stretch in timetable.stretches if stretch.from_at > start + timedelta(days=1)]
    since = f"Valid from {moment_words(calendar.local(begun[-1].from_at))}" if begun else "Valid"
    until = f" until {moment_words(calendar.local(later[0].from_at))}" if later else ""
    return f"{since}{until}."


def _last_collections(session: Session, table_id: UUID) -> list[CollectionOut]:
    """Return the last collections with a table that count, the latest last."""
    rows = collections_queries.last_collections_with(session, table_id, at_most=_ROWS_MAX)
    return [one for one in collections_queries.read_collections(session, rows) if one.status != "reversed"]


def _card_row(
    collection: CollectionOut, table_id: UUID, meters: Sequence[str], zone: ZoneInfo, venues: dict[str, str]
) -> dict[str, object]:
    mine = next(table for table in collection.tables if table.table_id == table_id)
    values = {meter.name: meter.now for meter in mine.meters}
    return {
        "on": date_words(collection.collected_at.astimezone(zone).date()),
        "venue": venues[str(collection.venue_id)],
        "meters": [values.get(name, "") for name in meters],
        "counted": f"{mine.counted} {collection.currency}",
        "difference": mine.difference or "",
        "collector": collection.collector,
    }
