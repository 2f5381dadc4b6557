"""Gathers what a table's expectation is reckoned from: the reading before, and what it sold since.

- The reading before is that of the table's last collection that stands, or of a later move that emptied the box (C1). A
  box that travelled is counted since before the move. Work reported since that began the meters afresh leaves none (R5).
- What it sold is what was keyed into it (W8), at every venue where it stood meanwhile.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import UUID

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from ..controllers.queries import sold_at_place
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pricing import Timetable, parse_money
from ..pricing.timetable import Span
from ..readings.meters import Meter
from ..readings.queries import history
from ..schedules.queries import Place
from ..settlements.rows import ReversalRow
from ..venues.service import get_venue
from .expected_cash import Since, Sold
from .rows import CollectedTableRow, CollectionRow

_AFRESH = frozenset({"meters_reset", "board_replaced"})

_WORK_LOOKED_AT = 500
_BEFORE_ALL = datetime.min.replace(tzinfo=UTC)
_AFTER_ALL = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Before:
    """The reading that a table's meters go on from, if there is one; whether its box travelled, its meters began afresh."""

    since: Since | None
    travelled: bool = False
    afresh: bool = False


def stands() -> ColumnElement[bool]:
    """Return the condition that a collection was not reversed."""
    return col(CollectionRow.id).not_in(select(ReversalRow.collection_id))


def meters_of(table: PoolTableRow, currency: str) -> list[Meter]:
    """Return a table's meters as values."""
    return [
        Meter(
            name=meter["name"],
            counts=meter["counts"],
            digits=meter["digits"],
            resets=meter["resets"],
            unit_minor=parse_money(meter["unit_value"], currency) if meter["counts"] == "money" else None,
        )
        for meter in table.profile.get("meters", [])
    ]


def stays_of(session: Session, table_id: UUID) -> Sequence[StayRow]:
    """Return where a table stood, in time order."""
    query = select(StayRow).where(StayRow.pool_table_id == table_id)
    return session.exec(query.order_by(col(StayRow.from_at), col(StayRow.id))).all()


def stay_of(stays: Sequence[StayRow], at: datetime) -> StayRow:
    """Return where a table stood at an instant; before its first stay, that first one."""
    return next((stay for stay in reversed(stays) if stay.from_at <= at), stays[0])


def reading_before(session: Session, stays: Sequence[StayRow], *, table_id: UUID, at: datetime) -> Before:
    """Return the reading that a collection of a table at an instant goes on from."""
    before = _emptied_before(session, stays, table_id=table_id, at=at)
    if before.since is None:
        return before
    work = history(session, [table_id], "done", since=before.since.at, most=_WORK_LOOKED_AT)[table_id]
    afresh = any(row.taken_at < at and not _AFRESH.isdisjoint(row.done) for row in work)
    return Before(None, before.travelled, afresh=True) if afresh else before


def _emptied_before(session: Session, stays: Sequence[StayRow], *, table_id: UUID, at: datetime) -> Before:
    """Return the reading of the last collection that stands, or of a later move that emptied the box."""
    last = session.exec(
        select(CollectionRow.collected_at, CollectedTableRow.meters)
        .join(CollectedTableRow, col(CollectedTableRow.collection_id) == col(CollectionRow.id))
        .where(CollectedTableRow.pool_table_id == table_id, col(CollectionRow.collected_at) <= at, stands())
        .order_by(col(CollectionRow.collected_at).desc(), col(CollectionRow.record_id).desc())
        .limit(1)
    ).first()
    after = _BEFORE_ALL if last is None else last[0]
    travelled = False
    for place in range(len(stays) - 1, 0, -1):
        move = stays[place]
        if not after < move.from_at <= at:
            continue
        idle = not move.meters and stays[place - 1].venue_id is None
        if move.box == "emptied" and not idle:
            return Before(Since(move.from_at, move.meters), travelled)
        travelled = travelled or move.box == "travels"
    return Before(None if last is None else Since(last[0], last[1]), travelled)


def sold_between(
    session: Session, table: PoolTableRow, stays: Sequence[StayRow], *, from_at: datetime, to_at: datetime
) -> Sold:
    """Return what a table sold between two instants, and what a game costs at the second, when it is tested."""
    spans: list[Span] = []
    idle_s = 0.0
    for start, end, stay in _parts(stays, from_at, to_at):
        if stay.venue_id is None:
            idle_s += (end - start).total_seconds()
        else:
            spans += _spans(_timetable(session, table, stay), start, end)
    tariffs = [span.tariff for span in spans if span.tariff is not None]
    covered_s = idle_s + sum((s.to_at - s.from_at).total_seconds() for s in spans if s.from_at and s.to_at)
    return Sold(
        games=tuple(dict.fromkeys(tariff.games for tariff in tariffs if tariff.games)),
        minutes=tuple(dict.fromkeys(tariff.minutes for tariff in tariffs if tariff.minutes)),
        free=any(tariff.free for tariff in tariffs),
        game_price=_game_price(session, table, stays, at=to_at),
        covered=covered_s >= (to_at - from_at).total_seconds(),
    )


def _parts(
    stays: Sequence[StayRow], from_at: datetime, to_at: datetime
) -> Iterator[tuple[datetime, datetime, StayRow]]:
    """Yield the parts of a time by where the table stood; before its first stay it stood there too."""
    starts = [_BEFORE_ALL, *(stay.from_at for stay in stays[1:]), _AFTER_ALL]
    for stay, start, end in zip(stays, starts, starts[1:], strict=False):
        first, last = max(start, from_at), min(end, to_at)
        if first < last:
            yield first, last, stay


def _timetable(session: Session, table: PoolTableRow, stay: StayRow) -> Timetable:
    assert stay.venue_id is not None
    place = Place(get_venue(session, stay.venue_id), table, stay)
    during = sold_at_place(session, place)
    assert during is not None
    return during.sold


def _spans(timetable: Timetable, from_at: datetime, to_at: datetime) -> Iterator[Span]:
    """Yield what held between two instants, wherever a schedule did."""
    ends = [*(stretch.from_at for stretch in timetable.stretches[1:]), _AFTER_ALL]
    for stretch, end in zip(timetable.stretches, ends, strict=False):  # of a venue without a schedule there are none
        first, last = max(stretch.from_at, from_at), min(end, to_at)
        if stretch.schedule is not None and first < last:
            yield from timetable.between(first, last)


def _game_price(session: Session, table: PoolTableRow, stays: Sequence[StayRow], *, at: datetime) -> int | None:
    """Return what one game costs at an instant, where a game is sold by itself then."""
    stay = stay_of(stays, at)
    if stay.venue_id is None:
        return None
    timetable = _timetable(session, table, stay)
    held = [stretch for stretch in timetable.stretches if stretch.from_at <= at]
    tariff = timetable.at(at).tariff if held and held[-1].schedule is not None else None
    ladder = tariff.games if tariff else None
    return ladder.rungs[0].price if ladder and ladder.rungs[0].units == 1 else None
