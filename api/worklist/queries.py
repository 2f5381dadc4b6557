"""Gathers what the worklist is found from: tables' health, what is listed and keyed, their boxes, disputes, news.

Tables are gathered many at a time, each kind of fact by one query; only what is listed is asked for by the table.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from fractions import Fraction
from typing import Any
from uuid import UUID

from sqlalchemy import exists, func, select
from sqlmodel import Session, col

from ..collections.rows import CollectedTableRow, CollectionRow, DisputeAnswerRow, DisputeRow
from ..controllers.rows import KeyingRow
from ..health.service import judge_tables, levels_in_force
from ..health.table_health import TableHealth
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pricing import parse_money
from ..readings.queries import history
from ..readings.rows import ReadingRow, VoidRow
from ..schedules.queries import Place, listed_at
from ..settlements.rows import ReversalRow
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from .full_box import BoxFacts, Emptied, Measure, since_empty
from .keying import Keyed, KeyingFacts
from .reviews import Counted, OpenDispute
from .silence import News
from .work import on_the_spot

LOOK_BACK = timedelta(days=400)

_COLLECTIONS = 6


@dataclass(frozen=True, slots=True)
class Collected:
    """One table of a collection that stands."""

    collection_id: UUID
    collected_at: datetime
    meters: Mapping[str, int]
    counted: Counted | None
    since_at: datetime | None
    counts: Mapping[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """All that is known of one table; ``venue`` is where it stands, or stood last before the workshop."""

    table: PoolTableRow
    stay: StayRow
    venue: VenueRow
    health: TableHealth
    tolerance_s: int
    read_at: datetime | None
    keyed: Keyed | None
    reported_at: Sequence[datetime]
    collected: Sequence[Collected]
    disputes: Sequence[OpenDispute]

    @property
    def on_mains(self) -> bool:
        """Whether it may be fed by the mains: it does not say that it runs on a battery."""
        return (self.table.profile.get("power") or {}).get("kind") != "battery"

    @property
    def zone(self) -> tzinfo:
        """The zone of its venue."""
        return self.health.facts.zone

    @property
    def last_collected_at(self) -> datetime | None:
        """When its box was last collected."""
        return self.collected[-1].collected_at if self.collected else None


def gather(session: Session, tables: Sequence[PoolTableRow], *, now: datetime) -> list[Gathered]:
    """Return what is known of some tables."""
    ids = [table.id for table in tables]
    stays, venues = _stays(session, ids)
    collected = _collected(session, ids)
    healths = judge_tables(
        session, ids, now=now, collected_at={id_: [row.collected_at for row in rows] for id_, rows in collected.items()}
    )
    tolerance_s = levels_in_force(session).clock.tolerance_s
    done = history(session, ids, "done", since=now - LOOK_BACK, most=50)
    keyed, read_at, disputes = _keyed(session, ids), _read_at(session, ids), _disputes(session, ids)
    return [
        Gathered(
            table=table,
            stay=stays[table.id],
            venue=venues[table.id],
            health=healths[table.id],
            tolerance_s=tolerance_s,
            read_at=read_at.get(table.id),
            keyed=keyed.get(stays[table.id].id),
            reported_at=[row.taken_at for row in done[table.id] if "settings_keyed" in row.done],
            collected=collected[table.id],
            disputes=disputes.get(table.id, ()),
        )
        for table in tables
    ]


def keying_facts(session: Session, known: Gathered) -> KeyingFacts | None:
    """Return what a table has to do with its settings; None in the workshop."""
    if known.stay.venue_id is None:
        return None
    sells = known.health.facts.sells
    listed = sells.listed if sells else listed_at(session, Place(known.venue, known.table, known.stay))
    found = known.health.facts.settings
    return KeyingFacts(
        listed=listed.stretches,
        stands_since=known.stay.from_at,
        keyed=known.keyed,
        reported_at=known.reported_at,
        found_at=found.taken_at if found else None,
        differences=[difference for difference in known.health.settings if difference.against == "keyed"],
        turns_at=sells.held.controller.day_turns_at if sells else 0,
        currency=known.venue.currency,
        zone=known.zone,
        dangers=on_the_spot(on_mains=known.on_mains),
    )


def news_of(known: Gathered) -> News:
    """Return when a table was last heard of."""
    heard = [at for at in (known.read_at, known.last_collected_at) if at is not None and at >= known.stay.from_at]
    return News(
        last_at=max(heard, default=known.stay.from_at),
        ever=bool(heard),
        zone=known.zone,
        label=known.table.label,
        has_battery=not known.on_mains,
        meters=tuple(meter.name for meter in known.health.facts.meters),
    )


def box_of(known: Gathered) -> BoxFacts | None:
    """Return what is known of a table's cash box; None where no limit is stated."""
    currency, stated = known.venue.currency, known.table.profile.get("cash_box") or {}
    limits: dict[Measure, int] = {}
    if stated.get("coins_max"):
        limits["coins"] = stated["coins_max"]
    if stated.get("notes_max"):
        limits["notes"] = stated["notes_max"]
    if stated.get("value_max"):
        limits["value"] = parse_money(stated["value_max"], currency)
    if not limits:
        return None
    last, stay = known.collected[-1] if known.collected else None, known.stay
    moved = stay.box == "emptied" and (last is None or stay.from_at > last.collected_at)
    shown = stay.meters if moved or last is None else last.meters
    empty_at = stay.from_at if moved or last is None else last.collected_at
    counts = known.health.facts.counts
    metered = [
        since
        for meter in known.health.facts.meters
        if meter.counts == "money"
        and (since := since_empty(meter, counts, empty_at=empty_at, shown=shown.get(meter.name)))
    ]
    return BoxFacts(
        limits=limits,
        currency=currency,
        zone=known.zone,
        empty_at=empty_at,
        emptied=_emptied(known.collected),
        metered=metered[0] if metered else None,
        dangers=on_the_spot(on_mains=known.on_mains),
    )


def licence_of(known: Gathered) -> tuple[str, datetime] | None:
    """Return the number of a table's licence and the instant at which it expires; None where it does not."""
    licence = known.table.profile.get("licence") or {}
    if "expires_on" not in licence:
        return None
    return licence["number"], calendar_of(known.venue).day_starts(date.fromisoformat(licence["expires_on"]))


def _emptied(collected: Sequence[Collected]) -> list[Emptied]:
    befores = [collected[0].since_at if collected else None, *(row.collected_at for row in collected)]
    return [
        Emptied(Fraction((row.collected_at - before) // timedelta(seconds=1), 86_400), row.counts)
        for before, row in zip(befores, collected, strict=False)
        if before is not None and before < row.collected_at
    ]


def _stays(session: Session, ids: Collection[UUID]) -> tuple[dict[UUID, StayRow], dict[UUID, VenueRow]]:
    """Return each table's open stay, and the venue where it stands or stood last."""
    query = (
        select(StayRow, VenueRow)
        .outerjoin(VenueRow, col(VenueRow.id) == col(StayRow.venue_id))
        .where(col(StayRow.pool_table_id).in_(ids))
        .order_by(col(StayRow.from_at), col(StayRow.id))
    )
    stays: dict[UUID, StayRow] = {}
    venues: dict[UUID, VenueRow] = {}
    for stay, venue in session.execute(query):
        stays[stay.pool_table_id] = stay
        if venue is not None:
            venues[stay.pool_table_id] = venue
    return stays, venues


def _read_at(session: Session, ids: Collection[UUID]) -> dict[UUID, datetime | None]:
    """Return when each table was read last; one step into the index for each."""
    newest = (
        select(col(ReadingRow.taken_at))
        .where(
            col(ReadingRow.pool_table_id) == col(PoolTableRow.id),
            col(ReadingRow.sound),
            ~exists().where(col(VoidRow.reading_id) == col(ReadingRow.id)),
        )
        .order_by(col(ReadingRow.taken_at).desc())
        .limit(1)
        .scalar_subquery()
    )
    query = select(col(PoolTableRow.id), newest).where(col(PoolTableRow.id).in_(ids))
    return {row[0]: row[1] for row in session.execute(query)}


def _keyed(session: Session, ids: Collection[UUID]) -> dict[UUID, Keyed]:
    """Return what was keyed last, by stay."""
    query = (
        select(KeyingRow)
        .where(col(KeyingRow.pool_table_id).in_(ids))
        .order_by(col(KeyingRow.keyed_at), col(KeyingRow.id))
    )
    return {
        row.stay_id: Keyed(str(row.schedule_id), row.keyed_at, row.keyed_by) for row in session.execute(query).scalars()
    }


def _collected(session: Session, ids: Collection[UUID]) -> dict[UUID, list[Collected]]:
    """Return the last collections of each table that stand, in time order."""
    order = (col(CollectionRow.collected_at).desc(), col(CollectionRow.record_id).desc())
    place = func.row_number().over(partition_by=col(CollectedTableRow.pool_table_id), order_by=order).label("place")
    newest = (
        select(
            col(CollectedTableRow.pool_table_id),
            col(CollectedTableRow.collection_id),
            col(CollectionRow.collected_at),
            col(CollectedTableRow.meters),
            col(CollectedTableRow.counted_minor),
            col(CollectedTableRow.expected_least_minor),
            col(CollectedTableRow.expected_most_minor),
            col(CollectedTableRow.told),
            col(CollectionRow.currency),
            place,
        )
        .join(CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id))
        .where(
            col(CollectedTableRow.pool_table_id).in_(ids),
            ~exists().where(col(ReversalRow.collection_id) == col(CollectionRow.id)),
        )
        .subquery()
    )
    query = select(newest).where(newest.c.place <= _COLLECTIONS).order_by(newest.c.place.desc())
    found: dict[UUID, list[Collected]] = {id_: [] for id_ in ids}
    for row in session.execute(query):
        found[row.pool_table_id].append(_collected_of(row))
    return found


def _collected_of(row: Any) -> Collected:
    told, since = row.told, row.told["since"]
    counted = None
    if row.expected_least_minor is not None and told["difference"] is not None:
        difference = parse_signed(told["difference"], row.currency)
        nearer = row.expected_most_minor if difference > 0 else row.expected_least_minor
        counted = Counted(row.collection_id, row.collected_at, row.counted_minor, difference, nearer)
    return Collected(
        collection_id=row.collection_id,
        collected_at=row.collected_at,
        meters=row.meters,
        counted=counted,
        since_at=datetime.fromisoformat(since) if since else None,
        counts={parse_money(value, row.currency): count for value, count in told["counts"].items()},
    )


def parse_signed(text: str, currency: str) -> int:
    """Return a signed amount in minor units."""
    amount = parse_money(text.lstrip("-"), currency)
    return -amount if text.startswith("-") else amount


def _disputes(session: Session, ids: Collection[UUID]) -> dict[UUID, list[OpenDispute]]:
    """Return the disputes that nobody has answered, at the first table of the collection that each hangs on."""
    query = (
        select(col(CollectedTableRow.pool_table_id), DisputeRow)
        .join(DisputeRow, col(DisputeRow.collection_id) == col(CollectedTableRow.collection_id))
        .where(
            col(CollectedTableRow.pool_table_id).in_(ids),
            col(CollectedTableRow.place) == 0,
            ~exists().where(col(DisputeAnswerRow.dispute_id) == col(DisputeRow.id)),
        )
        .order_by(col(DisputeRow.id))
    )
    found: dict[UUID, list[OpenDispute]] = {}
    for table_id, row in session.execute(query):
        found.setdefault(table_id, []).append(
            OpenDispute(row.id, row.collection_id, row.raised_at, row.raised_by, row.claims)
        )
    return found
