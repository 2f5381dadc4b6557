"""The words of printed pages, from the messages that say the same."""

from collections.abc import Sequence
from uuid import UUID
from zoneinfo import ZoneInfo

from ..collections.schemas import CollectionOut
from ..controllers.schemas import CannotHoldOut, PlanStepOut, SheetOut
from ..ledger.export.period import ExportPeriod
from ..pool_tables.cautions import LIFTING_CASH
from ..pricing import format_money, parse_money
from ..readings.schemas import FoundDayOut, FoundWindowOut
from ..reports.schemas import StatementOut
from ..trips.schemas import TripOut, TripStopOut
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from .page import PrintedPage
from .words import date_words, days_words, hours_words, ladder_words, moment_words, sentences


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


def printed_statement(found: StatementOut, period: ExportPeriod) -> PrintedPage:
    """Return the page of a statement, with the columns in which anything happened."""
    columns = [name for name in _STATEMENT_HEADS if any(_is_some(getattr(line.figures, name)) for line in found.lines)]
    payees = [
        f"{who.payee or who.legal_name or found.venue}"
        + (f", {who.legal_name}" if who.legal_name and who.legal_name != who.payee else "")
        + (f", tax number {who.tax_number}" if who.tax_number else "")
        + ("" if len(found.payees) == 1 else f" ({who.from_on} to {who.to_on})")
        for who in found.payees
    ]
    return PrintedPage(
        template="statement",
        title="Statement",
        where=f"{found.venue}, {date_words(period.from_on)} to {date_words(period.to_on)}",
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
                    "what": _entry_words(line.kind, line.reference),
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


def trip_page(trip: TripOut) -> PrintedPage:
    """Return the sheet of a trip: what to bring, and each stop with its work, a box to tick at each table."""
    bring = trip.bring
    items = [f"Key: {key}" for key in bring.keys]
    sheets = (f"Settings sheet of {date_words(sheet.on)}: {sheet.table}, {sheet.venue}" for sheet in bring.sheets)
    items += dict.fromkeys(sheets)
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
    "loan_opening_balance": "Loan brought in",
    "loan_written_off": "Loan written off",
}


def _entry_words(kind: str, reference: str) -> str:
    """Say what an entry is: a collection by its own words, all others by their kind first."""
    if kind == "collection" and reference:
        return reference
    said = {"reversal": "Taken back"}.get(kind, kind.replace("_", " ").capitalize())
    return f"{said}: {reference}" if reference else said


def _is_some(amount: str) -> bool:
    return bool(amount.strip("-0."))


def _blank_if_none(amount: str) -> str:
    return amount if _is_some(amount) else ""


def limitation_words(row: CannotHoldOut) -> dict[str, str]:
    """Return what cannot be held, with its places as days and times."""
    times: dict[str, list[str]] = {}
    for place in row.places:
        times.setdefault(f"{place.from_:%H:%M}–{place.to:%H:%M} {place.name}", []).append(place.day)
    places = "; ".join(f"{days_words(days)} {when}" for when, days in times.items())
    return {"found": row.found, "limit": row.limit, "instead": row.instead, "places": places}


def step_words(step: PlanStepOut) -> dict[str, object]:
    """Return a step of the plan, with a box for each value."""
    return {"words": step.words, "boxes": [f"{value.name} {value.value}" for value in step.values]}


def old_beside_new(sheet: SheetOut) -> list[dict[str, object]]:
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


def card_row(
    collection: CollectionOut, table_id: UUID, meters: Sequence[str], zone: ZoneInfo, venues: dict[str, str]
) -> dict[str, object]:
    """Return a collection's line on the card of one of its tables."""
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
