"""Writes trips and their sheets."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from decimal import Decimal
from uuid import UUID

from ..collections.coins import coins_mass_g
from ..jobs.schemas import JobOut
from ..pool_tables.cautions import CARRYING_CASH
from ..pool_tables.rows import PoolTableRow
from ..pool_tables.schemas import CautionOut
from ..pricing import format_money
from ..pricing.timetable import Span
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from ..worklist.convert import work_out
from ..worklist.full_box import BoxContent
from ..worklist.rows import WorkRow
from ..worklist.work import cautions_for
from .cash_carried import Carried, Picked, carried_along
from .distance import Coordinates
from .rows import TripEndRow, TripRow, TripStopRow
from .schemas import (
    BoxContentOut,
    BringOut,
    ItemToBringOut,
    LoadOut,
    OpeningOut,
    PiecesOut,
    SheetToBringOut,
    StartIn,
    TripAmountOut,
    TripEndOut,
    TripJobOut,
    TripLineOut,
    TripOut,
    TripStopOut,
    TripTableOut,
)
from .stops import legs_km, round_km

_KEYED = ("not_keyed", "found_different", "key_for_the_day")
_BEGINS_WHEN_DUE = ("not_keyed", "key_for_the_day")
"""Work whose due date is, or is the day before, that of the prices to key."""
_SHEET = "the settings sheet"
_SAID_APART = ("the key", "the key to the box", "a bag and a seal", _SHEET)
"""What work asks for that the sheet lists by itself: keys, bags and sheets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredTableAtStop:
    """A table at a stop: its work by the day of the trip, open jobs, what its box will hold, what a game costs."""

    table: PoolTableRow
    work: Sequence[WorkRow]
    jobs: Sequence[JobOut]
    empty: bool
    box: BoxContent | None
    try_minor: int
    read: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredStop:
    """A stop; ``spans`` are what it sells on the day of the trip, None without a schedule."""

    stop: TripStopRow
    venue: VenueRow
    tables: Sequence[StoredTableAtStop]
    spans: Sequence[Span] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredTrip:
    """A trip, how it ended, and its stops in order."""

    trip: TripRow
    end: TripEndRow | None
    stops: Sequence[StoredStop]


def trip_line_out(row: TripRow, end: TripEndRow | None, stops: list[str]) -> TripLineOut:
    """Write a trip of the list."""
    return TripLineOut.model_validate(
        {
            **row.model_dump(include={"id", "person", "made_at", "made_by"}),
            "on": row.trip_on,
            "state": "planned" if end is None else end.state,
            "stops": stops,
        }
    )


def trip_out(stored: StoredTrip) -> TripOut:
    """Write a trip with its sheet."""
    trip, stops = stored.trip, stored.stops
    points = [point_of(stop.venue) for stop in stops]
    start = start_of(trip)
    legs = legs_km(points, start=start)
    loads = carried_along([_picked(stop) for stop in stops])
    return TripOut.model_validate(
        {
            **trip_line_out(trip, stored.end, []).model_dump(),
            "end": stored.end and TripEndOut(at=stored.end.ended_at, by=stored.end.ended_by, words=stored.end.words),
            "order": trip.ordered,
            "start": start and StartIn(latitude=start.latitude, longitude=start.longitude),
            "round_km": _km(round_km(points, start=start)),
            "stops": [_stop_out(stop, leg_km, load) for stop, leg_km, load in zip(stops, legs, loads, strict=True)],
            "bring": _bring_out(stops, loads, trip_on=trip.trip_on),
            "cautions": _cautions(stops),
        }
    )


def point_of(venue: VenueRow) -> Coordinates | None:
    """Return where a venue is, where that is on record."""
    if venue.latitude is None or venue.longitude is None:
        return None
    return Coordinates(venue.latitude, venue.longitude)


def start_of(trip: TripRow) -> Coordinates | None:
    """Return where a trip starts, where that was named."""
    if trip.start_latitude is None or trip.start_longitude is None:
        return None
    return Coordinates(trip.start_latitude, trip.start_longitude)


def _picked(stop: StoredStop) -> Picked:
    boxes = [table for table in stop.tables if table.empty]
    known = [table.box for table in boxes if table.box is not None]
    currency = stop.venue.currency
    return Picked(
        currency=currency,
        amount=sum(box.value for box in known),
        coins_g=sum((coins_mass_g(currency, box.counts) for box in known), Decimal(0)),
        boxes=len(boxes),
    )


def _stop_out(stop: StoredStop, leg_km: float | None, load: Carried) -> TripStopOut:
    venue = stop.venue
    return TripStopOut.model_validate(
        {
            **venue.model_dump(include={"address", "contact", "notes", "latitude", "longitude"}),
            "place": stop.stop.place + 1,
            "venue_id": venue.id,
            "venue": venue.name,
            "leg_km": _km(leg_km),
            "hours": None if stop.spans is None else _hours(stop.spans, calendar_of(venue).zone),
            "tables": [_table_out(table, venue) for table in stop.tables],
            "not_known": sum(table.empty and table.box is None for table in stop.tables),
            "bags": load.bags,
            "carried": LoadOut(amounts=_amounts(load.amounts.items()), coins_kg=_kg(load.coins_g)),
        }
    )


def _table_out(found: StoredTableAtStop, venue: VenueRow) -> TripTableOut:
    work = [work_out(row, label=found.table.label, venue=venue.name, contact=venue.contact) for row in found.work]
    return TripTableOut(
        id=found.table.id,
        label=found.table.label,
        needs_key=_is_opened(found),
        empty=found.empty,
        box=None if found.box is None else _box_out(found.box, venue.currency),
        read=list(found.read),
        key=_to_key(found),
        work=work,
        jobs=[_job_out(job) for job in found.jobs],
    )


def _is_opened(found: StoredTableAtStop) -> bool:
    return found.empty or bool(found.jobs) or any(row.needs_key for row in found.work)


def _to_key(found: StoredTableAtStop) -> list[UUID]:
    keyed = [row.refers_to for row in found.work if row.code in _KEYED and row.refers_to is not None]
    return list(dict.fromkeys(keyed))


def _box_out(box: BoxContent, currency: str) -> BoxContentOut:
    return BoxContentOut(
        currency=currency,
        amount=format_money(box.value, currency),
        pieces=[
            PiecesOut(denomination=format_money(value, currency), count=count)
            for value, count in sorted(box.counts.items())
        ],
        coins_kg=_kg(coins_mass_g(currency, box.counts)),
    )


def _job_out(job: JobOut) -> TripJobOut:
    waits = job.steps[-1].words if job.state == "waiting_for_parts" else ""
    return TripJobOut(id=job.id, fault=job.fault, words=job.words, state=job.state, person=job.person, waits_for=waits)


def _as_item(words: str) -> str:
    """Return somebody's own words as an item of a list: without the stop at their end."""
    return words.rstrip(" .;:,!")


def _bring_out(stops: Sequence[StoredStop], loads: Sequence[Carried], *, trip_on: date) -> BringOut:
    at_stops = [(stop.venue, table) for stop in stops for table in stop.tables]
    bags = sum(load.bags for load in loads)
    floats: dict[str, int] = {}
    for venue, table in at_stops:
        floats[venue.currency] = floats.get(venue.currency, 0) + table.try_minor
    return BringOut(
        keys=[f"{table.table.label}, {venue.name}" for venue, table in at_stops if _is_opened(table)],
        sheets=[sheet for venue, table in at_stops for sheet in _sheets(table, venue, trip_on=trip_on)],
        parts=_items(
            (_as_item(job.steps[-1].words or f"parts for {job.fault.replace('_', ' ')}"), table.table.label)
            for _, table in at_stops
            for job in table.jobs
            if job.state == "waiting_for_parts"
        ),
        floats=_amounts((currency, amount) for currency, amount in sorted(floats.items()) if amount),
        bags=bags,
        seals=bags,
        items=_items(
            (item, table.table.label)
            for _, table in at_stops
            for row in table.work
            for item in row.bring
            if item not in _SAID_APART
        ),
    )


def _sheets(found: StoredTableAtStop, venue: VenueRow, *, trip_on: date) -> Iterator[SheetToBringOut]:
    """Yield the sheets for a table: of the prices on the day of the trip, or on the day that they begin or are keyed for."""
    calendar = calendar_of(venue)
    for row in found.work:
        if _SHEET in row.bring and row.refers_to is not None:
            on = calendar.trading_day(row.due_at) if row.code in _BEGINS_WHEN_DUE else trip_on
            if row.code == "key_for_the_day":
                on += timedelta(days=1)
            yield SheetToBringOut(
                table_id=found.table.id,
                table=found.table.label,
                venue=venue.name,
                schedule_id=row.refers_to,
                on=(prices_on := max(on, trip_on)),
                path=f"/v1/tables/{found.table.id}/settings-sheet?on={prices_on}",
            )


def _items(found: Iterable[tuple[str, str]]) -> list[ItemToBringOut]:
    by_item: dict[str, dict[str, None]] = {}
    for item, label in found:
        by_item.setdefault(item, {})[label] = None
    return [ItemToBringOut(item=item, tables=list(labels)) for item, labels in by_item.items()]


def _cautions(stops: Sequence[StoredStop]) -> list[CautionOut]:
    """Return the cautions for all work of a trip, those for cash where any is carried; local rules last."""
    tables = [table for stop in stops for table in stop.tables]
    found = list(cautions_for(danger for table in tables for row in table.work for danger in row.dangers))
    if any(table.empty for table in tables):
        found += CARRYING_CASH
    once = sorted(dict.fromkeys(found), key=lambda caution: caution.code == "local_rules")
    return [CautionOut(code=caution.code, detail=caution.detail) for caution in once]


def _hours(spans: Sequence[Span], zone: tzinfo) -> list[OpeningOut]:
    """Return the times at which something is sold, end to end where one follows another."""
    found: list[list[Span]] = []
    for span in spans:
        if span.tariff is None:
            continue
        if found and found[-1][-1].to_at == span.from_at:
            found[-1].append(span)
        else:
            found.append([span])
    return [
        OpeningOut(
            from_local=first.from_at.astimezone(zone).time().replace(second=0, microsecond=0),
            to_local=last.to_at.astimezone(zone).time().replace(second=0, microsecond=0),
        )
        for first, last in ((run[0], run[-1]) for run in found)
        if first.from_at is not None and last.to_at is not None
    ]


def _amounts(found: Iterable[tuple[str, int]]) -> list[TripAmountOut]:
    return [TripAmountOut(currency=currency, amount=format_money(amount, currency)) for currency, amount in found]


def _km(length: float | None) -> float | None:
    return None if length is None else round(length, 1)


def _kg(grams: Decimal) -> str:
    return f"{grams / 1_000:.2f}"
