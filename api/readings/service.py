"""Readings in the database: recorded once, never changed, voided by a later note; and their recent history.

- A batch is one transaction (R3); its readings are numbered in the order in which they are committed, so that paging by
  arrival never skips one: who records holds all others who record until the end of the transaction, and whoever lets a
  table leave the route.
- A batch costs a few queries whatever its length: its tables, their stays, the readings already under its ids, and one insert.
- The latest readings are so by ``taken_at``, not by arrival; void ones and those that are not valid do not count (R4).
"""

import json
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any
from uuid import UUID

from sqlalchemy import Dialect, Text, bindparam, cast, func
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..pool_tables.place import GONE_PLACES, counts_since
from ..pool_tables.rows import PoolTableRow, StayRow
from ..store.db import lock
from ..store.sequence import next_number
from ..venues.rows import VenueRow
from ..web.batch import Unreadable, why_unreadable
from ..web.errors import Problem, ProblemOut, bound_errors, not_found, problem_out
from ..webhooks.event import Event
from ..webhooks.service import publish
from .admission import AdmissionFacts, Decision, Sender, Stood, admit
from .conflicts import FIELD_OF_COLUMN, Content
from .convert import content_of
from .rows import READING, ReadingRow, VoidRow
from .schemas import ReadingIn, ReadingResultOut, ReadingResultsOut

_LAST_ARRIVAL = select_columns(func.max(READING.c.arrival))
_UNDER_THESE_IDS = select_columns(READING.c.id, READING.c.flags, *(READING.c[name] for name in FIELD_OF_COLUMN)).where(
    READING.c.id.in_(bindparam("ids", expanding=True))
)


_TABLES = (
    select_columns(
        col(PoolTableRow.id),
        cast(col(PoolTableRow.profile)["meters"], Text),
        cast(col(PoolTableRow.profile)["power"], Text),
        col(PoolTableRow.made_at),
        col(StayRow.from_at),
        col(StayRow.void_placed_at),
        col(StayRow.venue_id),
        col(StayRow.place),
        col(VenueRow.currency),
    )
    .join_from(PoolTableRow, StayRow, col(StayRow.pool_table_id) == col(PoolTableRow.id))
    .outerjoin(VenueRow, col(VenueRow.id) == col(StayRow.venue_id))
    .where(col(PoolTableRow.id).in_(bindparam("table_ids", expanding=True)), col(StayRow.voided_at).is_(None))
    .order_by(col(StayRow.from_at), col(StayRow.sequence))
)
"""What every batch asks, written once: to write a query takes longer than to answer it."""


@dataclass(frozen=True, slots=True)
class BatchOutcome:
    """The outcomes of a batch, in order, and the tables of which something new is known."""

    results: tuple[ReadingResultOut, ...]
    table_ids: frozenset[UUID]


def record_readings(
    session: Session, items: Sequence[ReadingIn | Unreadable], *, sender: Sender, now: datetime
) -> BatchOutcome:
    """Record a batch, each item on its own (R1 to R4)."""
    contents = [content_of(item) if isinstance(item, ReadingIn) else item for item in items]
    readable = [content for content in contents if isinstance(content, dict)]
    lock(session, "readings")
    tables = _table_facts(session, {content["pool_table_id"] for content in readable})
    known = _stored(session, {content["id"] for content in readable})
    arrival, received_at = _last_arrival(session), next_number(session, "readings", now=now).at
    results: list[ReadingResultOut] = []
    rows: list[dict[str, Any]] = []
    unreadable = why_unreadable(items)
    for place, sent in enumerate(contents):
        if isinstance(sent, Unreadable):
            results.append(_refused(sent.id, unreadable[place]))
            continue
        id_, table = sent["id"], tables.get(sent["pool_table_id"])
        decision = admit(sent, table=table, stored=known.get(id_), sender=sender, now=now)
        results.append(_result(id_, decision))
        if decision.outcome == "recorded":
            sent |= {
                "arrival": arrival + len(rows) + 1,
                "venue_id": decision.venue_id,
                "received_at": received_at,
                "sender": sender.name,
                "valid": decision.valid,
                "flags": list(decision.flags) or None,
            }
            known[id_] = sent
            rows.append(sent)
    _insert(session, rows)
    if rows:
        publish(session, map(_event, rows), now=now)
    return BatchOutcome(tuple(bound_errors(results)), frozenset(row["pool_table_id"] for row in rows))


def results_out(recorded: BatchOutcome) -> ReadingResultsOut:
    """Write the outcomes of a batch as their message."""
    outcomes = [result.outcome for result in recorded.results]
    return ReadingResultsOut(
        results=list(recorded.results),
        recorded=outcomes.count("recorded"),
        duplicate=outcomes.count("duplicate"),
        refused=outcomes.count("refused"),
    )


def void_reading(
    session: Session, reading_id: UUID, *, reason: str, by: str, now: datetime
) -> tuple[ReadingRow, VoidRow]:
    """Note that a reading does not count; refuse (``already_void``) one that is void."""
    lock(session, "readings")
    row = session.exec(select(ReadingRow).where(ReadingRow.id == reading_id)).first()
    if row is None:
        raise not_found("reading")
    if session.get(VoidRow, reading_id) is not None:
        raise Problem("already_void")
    voided_at = next_number(session, "readings", now=now).at
    note = VoidRow(reading_id=reading_id, reason=reason, voided_at=voided_at, voided_by=by)
    session.add(note)
    session.flush()
    return row, note


def _event(row: Content) -> Event:
    venue_id, table_id = row["venue_id"], row["pool_table_id"]
    return Event(
        type="reading.recorded", subject_id=row["id"], venue_id=venue_id, table_id=table_id, at=row["received_at"]
    )


def _table_facts(session: Session, table_ids: Collection[UUID]) -> dict[UUID, AdmissionFacts]:
    stated: dict[UUID, tuple[Mapping[str, int], Mapping[str, Any]]] = {}
    stays: dict[UUID, list[Stood]] = {}
    currencies: dict[UUID, str] = {}
    found = session.connection().execute(_TABLES, {"table_ids": list(table_ids)})
    for table_id, meters, power, made_at, from_at, void_placed_at, venue_id, place, currency in found:
        stated[table_id] = _digits(meters), _power(power)
        since = counts_since(from_at, made_at=made_at, void_placed_at=void_placed_at)
        stays.setdefault(table_id, []).append(Stood(since, venue_id, gone=place in GONE_PLACES))
        if currency is not None:
            currencies[table_id] = currency
    return {
        id_: AdmissionFacts(
            stays=tuple(stays[id_]),
            digits=digits,
            currency=currencies[id_],
            power=power.get("kind"),
            nominal_volts=power.get("nominal_volts", 12),
        )
        for id_, (digits, power) in stated.items()
    }


@lru_cache(1024)
def _digits(meters: str | None) -> Mapping[str, int]:
    """Return the digits of the meters of a stored profile, from their text: most tables have the same."""
    return {meter["name"]: meter["digits"] for meter in json.loads(meters or "null") or ()}


@lru_cache(1024)
def _power(power: str | None) -> Mapping[str, Any]:
    stated: Mapping[str, Any] | None = json.loads(power or "null")
    return stated or {}


def _stored(session: Session, ids: Collection[UUID]) -> dict[UUID, Content]:
    found = session.connection().execute(_UNDER_THESE_IDS, {"ids": list(ids)})
    return {row.id: dict(row._mapping) for row in found}


def _insert(session: Session, rows: Iterable[Content]) -> None:
    """Store rows, together those that say the same things: a column of which one says nothing is not written.

    The driver is handed its own values: SQLAlchemy would look through each row's parameters once more, which takes as
    long as storing them.
    """
    connection = session.connection()
    alike: dict[tuple[str, ...], list[Content]] = {}
    for row in rows:
        alike.setdefault(tuple([name for name in row if row[name] is not None]), []).append(row)
    for said, together in alike.items():
        statement = READING.insert().compile(dialect=connection.dialect, column_keys=said)
        columns = [(name, _writer(name, connection.dialect)) for name in statement.params]
        values: list[Any] = [
            tuple([row[name] if write is None else write(row[name]) for name, write in columns]) for row in together
        ]
        if not statement.positional:
            values = [dict(zip(statement.params, of_row, strict=True)) for of_row in values]
        connection.exec_driver_sql(str(statement), values)


def _writer(name: str, dialect: Dialect) -> Callable[[Any], Any] | None:
    """Return what makes the driver's value of a column's; None where they are the same."""
    return READING.c[name].type.dialect_impl(dialect).bind_processor(dialect)


def _last_arrival(session: Session) -> int:
    return session.connection().execute(_LAST_ARRIVAL).scalar() or 0


def _result(id_: UUID, decision: Decision) -> ReadingResultOut:
    if decision.code is not None:
        problem = not_found("table") if decision.code == "not_found" else Problem(decision.code, errors=decision.faults)
        return _refused(id_, problem_out(problem))
    return ReadingResultOut(id=id_, outcome=decision.outcome, flags=list(decision.flags), problem=None)


def _refused(id_: UUID | None, problem: ProblemOut) -> ReadingResultOut:
    return ReadingResultOut(id=id_, outcome="refused", flags=[], problem=problem)
