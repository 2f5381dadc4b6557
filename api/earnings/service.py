"""Answers what was earned in a period, beside the period before or the same period a year ago (N1)."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal, get_args
from uuid import UUID

from sqlalchemy import Engine, delete, insert
from sqlmodel import Session, col, select

from ..store.changes import ToReckonRow
from ..store.db import lock, reading, writing
from ..store.long_lists import among
from ..web.errors import http_problem
from .best_and_worst import rankings
from .convert import box_values, not_collected_out, ranking_out, row_out, total_out
from .earned_totals import BOX_AMOUNTS, Earned, Grouping, GroupKey, Spent, Sum, with_expenses
from .not_collected import not_yet_collected
from .queries import (
    BOXES_AT_ONCE_MAX,
    boxes_of,
    collected_at,
    expenses_of,
    facts_of_tables,
    first_collected_on,
    names_of,
    newest_note_to_reckon,
    notes_to_reckon,
    open_boxes,
    sums_of,
    tables_to_reckon,
    today_at,
)
from .rows import EarnedBoxRow, EarnedPartRow
from .schemas import BestAndWorstOut, EarningsOut
from .shared_expenses import SharedBy, spread_shared

Compare = Literal["before", "year_ago"]
RECKON_MAX = 1_000
"""Tables worked out again before one answer; the others are worked out for it."""
PERIOD_DAYS_MAX = 3_700
"""The longest period of one answer: ten years."""
REASONS_NOTICE = "Reasons are facts recorded of the table that differ from the middle table; they prove nothing."
EARNINGS_NOTICE = "Figures from counted boxes, spread over the days since each was last emptied. No tax advice."


@dataclass(frozen=True, slots=True, kw_only=True)
class EarningsQuestion:
    """What is asked: trading dates (``until_on`` exclusive), groupings in order, what to compare with, one venue or all."""

    from_on: date
    until_on: date
    by: tuple[Grouping, ...]
    compare: Compare | None = None
    venue_id: UUID | None = None
    shared_by: SharedBy | None = None


def read_earnings(session: Session, asked: EarningsQuestion, *, now: datetime) -> EarningsOut:
    """Return what was earned.

    Refuses a period that is backwards, of no length, too long or before the first collection, and comparisons of dated rows.
    """
    must_be_a_period(asked.from_on, asked.until_on, where="query.to")
    _must_fit_the_rows(asked)
    earlier = _period_before(asked)
    rows = _earned_in(session, asked, asked.from_on, asked.until_on)
    of_all = rows
    if "denomination" in asked.by:  # of one coin or note there is no tax and no share
        of_all = _earned_in(session, replace(asked, by=()), asked.from_on, asked.until_on)
    befores = {} if earlier is None else _earned_in(session, asked, *earlier)
    waiting = not_yet_collected(
        open_boxes(session, now=now, venue_id=asked.venue_id),
        from_on=asked.from_on,
        until_on=asked.until_on,
        today=today_at(session, now=now, venue_id=asked.venue_id),
    )
    if not rows and not waiting:
        must_not_be_before_collections(session, asked.until_on, where="query.to", venue_id=asked.venue_id)
    of_tables = {found.box.table_id for found in waiting}
    if "table" in asked.by:
        place = asked.by.index("table") + 1
        of_tables |= {key[place] for key in (*rows, *befores) if key[place]}
    names = names_of(session, table_ids=of_tables, venue_id=asked.venue_id)
    return EarningsOut(
        from_=asked.from_on,
        to=asked.until_on,
        by=list(asked.by),
        rows=[
            row_out(
                key,
                rows.get(key, Sum()),
                by=asked.by,
                tables=names.tables,
                venues=names.venues,
                before=None if earlier is None else befores.get(key, Sum()),
            )
            for key in sorted({*rows, *befores})
        ],
        totals=[total_out(key[0], row) for key, row in _totals(of_all).items()],
        not_yet_collected=[not_collected_out(found, tables=names.tables) for found in waiting],
        notice=EARNINGS_NOTICE,
    )


def _totals(rows: Mapping[GroupKey, Sum]) -> dict[GroupKey, Sum]:
    """Return the rows of each currency as one; its collections are named by the rows."""
    whole: dict[GroupKey, Sum] = defaultdict(Sum)
    for key, row in rows.items():
        for name in (*BOX_AMOUNTS, "expenses", "table_days"):
            setattr(whole[key[0],], name, getattr(whole[key[0],], name) + getattr(row, name))
    return dict(sorted(whole.items()))


def _earned_in(session: Session, asked: EarningsQuestion, from_on: date, until_on: date) -> dict[GroupKey, Sum]:
    """Return the rows of a period, with its expenses."""
    spent = expenses_of(session, from_on=from_on, until_on=until_on, venue_id=asked.venue_id)
    spent = _spread(session, spent, asked, from_on, until_on)
    sums = sums_of(session, by=asked.by, from_on=from_on, until_on=until_on, venue_id=asked.venue_id)
    return with_expenses(sums, spent, by=asked.by, from_on=from_on, until_on=until_on)


def _spread(
    session: Session, spent: Sequence[Spent], asked: EarningsQuestion, from_on: date, until_on: date
) -> list[Spent]:
    """Return the expenses, shared ones spread over tables by the key asked for, if one was."""
    if asked.shared_by is None:
        return list(spent)
    by_table = sums_of(session, by=("venue", "table"), from_on=from_on, until_on=until_on, venue_id=asked.venue_id)
    return spread_shared(spent, by_table, by=asked.shared_by)


def read_best_and_worst(session: Session, asked: EarningsQuestion, *, count: int) -> BestAndWorstOut:
    """Return the tables that took in most and least a week in a period, with possible reasons."""
    must_be_a_period(asked.from_on, asked.until_on, where="query.to")
    sums = sums_of(
        session, by=("table", "venue"), from_on=asked.from_on, until_on=asked.until_on, venue_id=asked.venue_id
    )
    if not sums:
        must_not_be_before_collections(session, asked.until_on, where="query.to", venue_id=asked.venue_id)
    found = rankings(sums, count=count)
    ids = {UUID(one.table_id) for ranking in found for one in (*ranking.best, *ranking.worst)}
    facts = facts_of_tables(session, ids, from_on=asked.from_on, until_on=asked.until_on)
    names = names_of(session, table_ids=map(str, ids))
    return BestAndWorstOut(
        from_=asked.from_on,
        to=asked.until_on,
        rankings=[ranking_out(one, facts, tables=names.tables, venues=names.venues) for one in found],
        notice=REASONS_NOTICE,
    )


def reckon_all(engine: Engine) -> Iterator[int]:
    """Work out again what all tables earned of which something was recorded before; yield how many each time."""
    _spread_wide_notes(engine)
    with reading(engine) as session:
        up_to = newest_note_to_reckon(session)
    while found := reckon(engine, up_to=up_to):
        yield found


def reckon(engine: Engine, *, at_most: int = RECKON_MAX, up_to: int | None = None) -> int:
    """Work out again what the tables earned of which something was recorded, the first noted first; return how many.

    Notes later than ``up_to``, or than the newest now, wait: it ends however much is recorded meanwhile.
    Boxes are worked out on a snapshot, and saved in a short transaction, of each table only while a note that the
    snapshot saw is still there: of two that work at once, the one with the newer snapshot saw every note of the other.
    """
    _spread_wide_notes(engine)
    reckoned = 0
    while reckoned < at_most:
        with reading(engine) as session:
            up_to = newest_note_to_reckon(session) if up_to is None else up_to
            notes = notes_to_reckon(session, at_most=min(BOXES_AT_ONCE_MAX, at_most - reckoned), up_to=up_to)
            boxes = boxes_of(session, from_on=date.min, until_on=date.max, table_ids=list(notes)) if notes else []
            at = collected_at(session, {UUID(box.collection_id) for box in boxes})
        if not notes:
            break
        with writing(engine) as session:
            _keep(session, notes, boxes, at)
        reckoned += len(notes)
    return reckoned


def _spread_wide_notes(engine: Engine) -> None:
    """Write a note for each table in place of the notes that name a venue, or every table."""
    wide = col(ToReckonRow.pool_table_id).is_(None)
    with reading(engine) as session:
        if session.exec(select(ToReckonRow.id).where(wide).limit(1)).first() is None:
            return
    with writing(engine) as session:
        ids = session.exec(select(ToReckonRow.id).where(wide)).all()
        tables = tables_to_reckon(session)
        session.execute(delete(ToReckonRow).where(among(col(ToReckonRow.id), ids)))
        session.add_all(ToReckonRow(pool_table_id=table_id) for table_id in sorted(tables))


def _keep(
    session: Session, notes: Mapping[UUID, Sequence[int]], boxes: Sequence[Earned], at: Mapping[UUID, datetime]
) -> None:
    """Replace what is kept of the tables whose notes are still there, and take those notes away."""
    lock(session, "earnings")
    seen = [note_id for ids in notes.values() for note_id in ids]
    still = set(session.exec(select(ToReckonRow.pool_table_id).where(among(col(ToReckonRow.id), seen))))
    session.execute(delete(ToReckonRow).where(among(col(ToReckonRow.id), seen)))
    for rows in (EarnedBoxRow, EarnedPartRow):
        session.execute(delete(rows).where(among(col(rows.pool_table_id), still)))
    kept = [box_values(box, collected_at=at[UUID(box.collection_id)]) for box in boxes if UUID(box.table_id) in still]
    if kept:
        session.execute(insert(EarnedBoxRow), [box for box, _ in kept])
    if parts := [part for _, of_box in kept for part in of_box]:
        session.execute(insert(EarnedPartRow), parts)


def groupings(by: str, *, where: str) -> tuple[Grouping, ...]:
    """Return the groupings named, separated by commas, in their order; refuse an unknown one."""
    named = tuple(filter(None, by.split(",")))
    for name in named:
        if name not in get_args(Grouping):
            raise http_problem("invalid", where=where, found=name, expected=", ".join(get_args(Grouping)))
    return named  # type: ignore[return-value]


def must_be_a_period(from_on: date, until_on: date, *, where: str) -> None:
    """Refuse a period that is backwards, of no length, or longer than ten years."""
    days = (until_on - from_on).days
    if days < 1:
        raise http_problem("invalid", where=where, found=until_on, expected=f"a date after {from_on}")
    if days > PERIOD_DAYS_MAX:
        raise http_problem("invalid", where=where, found=f"{days} days", expected=f"at most {PERIOD_DAYS_MAX} days")


def must_not_be_before_collections(
    session: Session, until_on: date, *, where: str, venue_id: UUID | None = None, table_id: UUID | None = None
) -> None:
    """Refuse (``period_before_records``) a period in which nothing was found that ends before the first collection.

    A route that was never collected is answered with nothing.
    """
    first_on = first_collected_on(session, venue_id=venue_id, table_id=table_id)
    if first_on is not None and until_on <= first_on:
        expected = f"a date after {first_on}, when a box was first collected"
        raise http_problem("period_before_records", where=where, found=until_on, expected=expected)


def _must_fit_the_rows(asked: EarningsQuestion) -> None:
    if len(set(asked.by)) < len(asked.by):
        raise http_problem("invalid", where="query.by", found=",".join(asked.by), expected="each grouping once")
    dated = [grouping for grouping in asked.by if grouping in ("week", "month", "year")]
    if asked.compare is not None and dated:
        expected = "no week, month or year beside compare: the rows of two periods have no date in common"
        raise http_problem("invalid", where="query.by", found=",".join(dated), expected=expected)


def _period_before(asked: EarningsQuestion) -> tuple[date, date] | None:
    """Return the period to compare with: as many days just before, or the same dates a year earlier."""
    match asked.compare:
        case None:
            return None
        case "before":
            return asked.from_on - (asked.until_on - asked.from_on), asked.from_on
        case "year_ago":
            return _a_year_before(asked.from_on), _a_year_before(asked.until_on)


def _a_year_before(day: date) -> date:
    """Return the same date of the year before; 1 March for 29 February, so that periods neither gap nor overlap."""
    try:
        return day.replace(year=day.year - 1)
    except ValueError:
        return date(day.year - 1, 3, 1)
