"""Readings in the database: recorded once, never changed, struck by a later note; and their recent history.

- A batch is one transaction (R3); its readings are numbered in the order in which they are committed, so that paging by
  arrival never skips one: who records holds all others who record until the end of the transaction.
- A batch costs a few queries whatever its length: its tables, their stays, what stands under its ids, and one insert.
- The latest readings are so by ``taken_at``, not by arrival; struck ones and those that are not sound do not count (R4).
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal
from uuid import UUID

from sqlalchemy import Row, bindparam, exists, func
from sqlalchemy import select as select_columns
from sqlmodel import Session, SQLModel, col, select

from api.db import hold
from api.errors import Problem, not_found, problem_out, refused
from api.paging import Page
from api.readings.differing import FIELDS, Content
from api.readings.models import ReadingIn, ReadingResultOut, ReadingResultsOut, ReadingRow, StrikeRow, Unreadable
from api.readings.outcomes import Decision, Sender, Stood, TableFacts, decide
from api.readings.translation import content_of
from api.venues.models import PoolTableRow, StayRow, VenueRow

Kind = Literal["supply", "clock", "meters", "settings", "done"]
Struck = tuple[ReadingRow, StrikeRow | None]

_COLUMNS: dict[Kind, tuple[str, ...]] = {
    "supply": ("battery_mv", "temperature_tenths_c", "rested_minutes"),
    "clock": ("clock_minute", "clock_weekday", "clock_on", "clock_display", "venue_id"),
    "meters": ("meters",),
    "settings": ("settings",),
    "done": ("done",),
}
"""What a kind of observation is stored in; where the first is null, nothing was observed."""


_READING = SQLModel.metadata.tables[ReadingRow.__tablename__]
_INSERT = _READING.insert()
_LAST_ARRIVAL = select_columns(func.max(_READING.c.arrival))
_UNDER_THESE_IDS = select_columns(_READING.c.id, _READING.c.flags, *(_READING.c[name] for name in FIELDS)).where(
    _READING.c.id.in_(bindparam("ids", expanding=True))
)
_TABLES = (
    select_columns(
        col(PoolTableRow.id),
        col(PoolTableRow.profile),
        col(StayRow.from_at),
        col(StayRow.venue_id),
        col(VenueRow.currency),
    )
    .join_from(PoolTableRow, StayRow, col(StayRow.pool_table_id) == col(PoolTableRow.id))
    .outerjoin(VenueRow, col(VenueRow.id) == col(StayRow.venue_id))
    .where(col(PoolTableRow.id).in_(bindparam("table_ids", expanding=True)))
    .order_by(col(StayRow.from_at), col(StayRow.id))
)
"""What every batch asks, written once: to write a query takes longer than to answer it."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """The outcomes of a batch, in order, and the tables of which something new is known."""

    results: tuple[ReadingResultOut, ...]
    table_ids: frozenset[UUID]


def record(session: Session, items: Sequence[ReadingIn | Unreadable], *, sender: Sender, now: datetime) -> Recorded:
    """Record a batch, each item on its own (R1 to R4)."""
    contents = [content_of(item) if isinstance(item, ReadingIn) else item for item in items]
    readable = [content for content in contents if isinstance(content, dict)]
    tables = _table_facts(session, {content["pool_table_id"] for content in readable})
    hold(session, "readings")
    known = _stored(session, {content["id"] for content in readable})
    arrival = _last_arrival(session)
    results: list[ReadingResultOut] = []
    rows: list[dict[str, Any]] = []
    for sent in contents:
        if isinstance(sent, Unreadable):
            results.append(_refused(sent.id, sent.problem))
            continue
        id_, table = sent["id"], tables.get(sent["pool_table_id"])
        decision = decide(sent, table=table, stored=known.get(id_), sender=sender, now=now)
        results.append(_result(id_, decision))
        if decision.outcome == "recorded":
            sent |= {
                "arrival": arrival + len(rows) + 1,
                "venue_id": decision.venue_id,
                "received_at": now,
                "sender": sender.name,
                "sound": decision.sound,
                "flags": list(decision.flags) or None,
            }
            known[id_] = sent
            rows.append(sent)
    _insert(session, rows)
    return Recorded(tuple(results), frozenset(row["pool_table_id"] for row in rows))


def results_out(recorded: Recorded) -> ReadingResultsOut:
    """Write the outcomes of a batch as their message."""
    outcomes = [result.outcome for result in recorded.results]
    return ReadingResultsOut(
        results=list(recorded.results),
        recorded=outcomes.count("recorded"),
        duplicate=outcomes.count("duplicate"),
        refused=outcomes.count("refused"),
    )


def page_readings(
    session: Session, *, table_id: UUID | None, venue_id: UUID | None, limit: int, after: UUID | None
) -> Page[Struck]:
    """Return readings in the order of their arrival, of one table or venue or of all; ``after`` is a reading's id."""
    own = [
        column == value
        for column, value in ((col(ReadingRow.pool_table_id), table_id), (col(ReadingRow.venue_id), venue_id))
        if value is not None
    ]
    query = select(ReadingRow, StrikeRow).outerjoin(StrikeRow, col(StrikeRow.reading_id) == col(ReadingRow.id))
    query = query.where(*own)
    if after is not None:
        # Another's reading is refused like one that is absent: else ``after`` would tell which there are.
        arrival = session.exec(select(ReadingRow.arrival).where(ReadingRow.id == after, *own)).first()
        if arrival is None:
            raise refused("invalid", where="after", found=after, expected="the id of a reading of this list")
        query = query.where(col(ReadingRow.arrival) > arrival)
    rows = session.exec(query.order_by(col(ReadingRow.arrival)).limit(limit + 1)).all()
    return Page(rows[:limit], rows[limit - 1][0].id if len(rows) > limit else None)


def strike(session: Session, reading_id: UUID, *, reason: str, by: str, now: datetime) -> tuple[ReadingRow, StrikeRow]:
    """Note that a reading does not count; refuse (``already_struck``) one that is struck."""
    hold(session, "readings")
    row = session.exec(select(ReadingRow).where(ReadingRow.id == reading_id)).first()
    if row is None:
        raise not_found("reading")
    if session.get(StrikeRow, reading_id) is not None:
        raise Problem("already_struck")
    note = StrikeRow(reading_id=reading_id, reason=reason, struck_at=now, struck_by=by)
    session.add(note)
    session.flush()
    return row, note


def history(
    session: Session, table_ids: Collection[UUID], kind: Kind, *, since: datetime, most: int
) -> dict[UUID, list[Row[Any]]]:
    """Return, by table, the newest observations of a kind taken since an instant, at most so many, oldest first."""
    columns = _READING.c
    order = (columns.taken_at.desc(), columns.arrival.desc())
    place = func.row_number().over(partition_by=columns.pool_table_id, order_by=order).label("place")
    newest = (
        select_columns(
            columns.pool_table_id, columns.taken_at, columns.arrival, *(columns[name] for name in _COLUMNS[kind]), place
        )
        .where(
            columns.pool_table_id.in_(table_ids),
            columns.taken_at >= since,
            columns.sound,
            columns[_COLUMNS[kind][0]].is_not(None),
            ~exists().where(col(StrikeRow.reading_id) == columns.id),
        )
        .subquery()
    )
    query = select_columns(newest).where(newest.c.place <= most).order_by(newest.c.taken_at, newest.c.arrival)
    found: dict[UUID, list[Row[Any]]] = {table_id: [] for table_id in table_ids}
    for row in session.connection().execute(query):
        found[row.pool_table_id].append(row)
    return found


def _table_facts(session: Session, table_ids: Collection[UUID]) -> dict[UUID, TableFacts]:
    profiles: dict[UUID, Mapping[str, Any]] = {}
    stays: dict[UUID, list[Stood]] = {}
    currencies: dict[UUID, str] = {}
    found = session.connection().execute(_TABLES, {"table_ids": list(table_ids)})
    for table_id, profile, from_at, venue_id, currency in found:
        profiles[table_id] = profile
        stays.setdefault(table_id, []).append(Stood(from_at, venue_id))
        if currency is not None:
            currencies[table_id] = currency
    return {id_: _facts(profile, stays[id_], currencies[id_]) for id_, profile in profiles.items()}


def _facts(profile: Mapping[str, Any], stays: Iterable[Stood], currency: str) -> TableFacts:
    power = profile.get("power") or {}
    return TableFacts(
        stays=tuple(stays),
        digits={meter["name"]: meter["digits"] for meter in profile.get("meters", ())},
        currency=currency,
        power=power.get("kind"),
        nominal_volts=power.get("nominal_volts", 12),
    )


def _stored(session: Session, ids: Collection[UUID]) -> dict[UUID, Content]:
    found = session.connection().execute(_UNDER_THESE_IDS, {"ids": list(ids)})
    return {row.id: dict(row._mapping) for row in found}


def _insert(session: Session, rows: Iterable[Content]) -> None:
    """Store rows, together those that say the same things: a column of which one says nothing is not written."""
    alike: dict[tuple[str, ...], list[Content]] = {}
    for row in rows:
        said = {column: value for column, value in row.items() if value is not None}
        alike.setdefault(tuple(said), []).append(said)
    for together in alike.values():
        session.connection().execute(_INSERT, together)


def _last_arrival(session: Session) -> int:
    return session.connection().execute(_LAST_ARRIVAL).scalar() or 0


def _result(id_: UUID, decision: Decision) -> ReadingResultOut:
    if decision.code is not None:
        problem = not_found("table") if decision.code == "not_found" else Problem(decision.code, errors=decision.faults)
        return _refused(id_, problem)
    return ReadingResultOut(id=id_, outcome=decision.outcome, flags=list(decision.flags), problem=None)


def _refused(id_: UUID | None, problem: Problem) -> ReadingResultOut:
    return ReadingResultOut(id=id_, outcome="refused", flags=[], problem=problem_out(problem))
