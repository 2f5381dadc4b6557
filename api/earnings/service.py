"""Answers what was earned in a period, beside the period before or the same period a year ago (N1)."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, get_args
from uuid import UUID

from sqlmodel import Session

from ..web.errors import http_problem
from .best_and_worst import rankings
from .convert import not_collected_out, ranking_out, row_out, total_out
from .earned import Earned, Grouping, Key, Spent, Sum, earnings
from .not_collected import not_yet_collected
from .queries import boxes_of, expenses_of, facts_of_tables, names_of, open_boxes, today_at
from .schemas import BestAndWorstOut, EarningsOut
from .shared_expenses import SharedBy, spread_shared

Compare = Literal["before", "year_ago"]
MAX_DAYS = 3_700
"""The longest period of one answer: ten years."""
REASONS_NOTICE = "Reasons are facts recorded of the table that differ from the middle table; they prove nothing."
NOTICE = "Figures from counted boxes, spread over the days since each was last emptied. No tax advice."


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
    """Return what was earned; refuse a period that is backwards, empty or too long, and comparisons of dated rows."""
    _must_be_a_period(asked)
    earlier = _period_before(asked)
    boxes = boxes_of(session, from_on=asked.from_on, until_on=asked.until_on, venue_id=asked.venue_id)
    spent = expenses_of(session, from_on=asked.from_on, until_on=asked.until_on, venue_id=asked.venue_id)
    spent = _spread(boxes, spent, asked, asked.from_on, asked.until_on)
    rows = _earned(boxes, spent, asked.from_on, asked.until_on, asked.by)
    befores = {} if earlier is None else _earned_in(session, asked, *earlier)
    waiting = not_yet_collected(
        open_boxes(session, now=now, venue_id=asked.venue_id),
        from_on=asked.from_on,
        until_on=asked.until_on,
        today=today_at(session, now=now),
    )
    of_tables = {box.table_id for box in boxes} | {found.box.table_id for found in waiting}
    names = names_of(session, table_ids=of_tables | {expense.table_id for expense in spent if expense.table_id})
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
        totals=[
            total_out(key[0], row) for key, row in _earned(boxes, spent, asked.from_on, asked.until_on, ()).items()
        ],
        not_yet_collected=[not_collected_out(found, tables=names.tables) for found in waiting],
        notice=NOTICE,
    )


def _earned(
    boxes: Sequence[Earned], spent: Sequence[Spent], from_on: date, until_on: date, by: tuple[Grouping, ...]
) -> dict[Key, Sum]:
    return earnings(boxes, spent, by=by, from_on=from_on, until_on=until_on)


def _earned_in(session: Session, asked: EarningsQuestion, from_on: date, until_on: date) -> dict[Key, Sum]:
    """Return the rows of another period."""
    boxes = boxes_of(session, from_on=from_on, until_on=until_on, venue_id=asked.venue_id)
    spent = expenses_of(session, from_on=from_on, until_on=until_on, venue_id=asked.venue_id)
    return _earned(boxes, _spread(boxes, spent, asked, from_on, until_on), from_on, until_on, asked.by)


def _spread(
    boxes: Sequence[Earned], spent: Sequence[Spent], asked: EarningsQuestion, from_on: date, until_on: date
) -> list[Spent]:
    """Return the expenses, shared ones spread over tables by the key asked for, if one was."""
    if asked.shared_by is None:
        return list(spent)
    return spread_shared(spent, boxes, by=asked.shared_by, from_on=from_on, until_on=until_on)


def read_best_and_worst(session: Session, asked: EarningsQuestion, *, count: int) -> BestAndWorstOut:
    """Return the tables that took in most and least a week in a period, and why it may be so."""
    _must_be_a_period(asked)
    boxes = boxes_of(session, from_on=asked.from_on, until_on=asked.until_on, venue_id=asked.venue_id)
    found = rankings(_earned(boxes, (), asked.from_on, asked.until_on, ("table", "venue")), count=count)
    ids = {UUID(one.table_id) for ranking in found for one in (*ranking.best, *ranking.worst)}
    facts = facts_of_tables(session, ids, from_on=asked.from_on, until_on=asked.until_on)
    names = names_of(session, table_ids=map(str, ids))
    return BestAndWorstOut(
        from_=asked.from_on,
        to=asked.until_on,
        rankings=[ranking_out(one, facts, tables=names.tables, venues=names.venues) for one in found],
        notice=REASONS_NOTICE,
    )


def groupings(by: str, *, where: str) -> tuple[Grouping, ...]:
    """Return the groupings named, separated by commas, in their order; refuse an unknown one."""
    named = tuple(filter(None, by.split(",")))
    for name in named:
        if name not in get_args(Grouping):
            raise http_problem("invalid", where=where, found=name, expected=", ".join(get_args(Grouping)))
    return named  # type: ignore[return-value]


def _must_be_a_period(asked: EarningsQuestion) -> None:
    days = (asked.until_on - asked.from_on).days
    if days < 1:
        raise http_problem("invalid", where="to", found=asked.until_on, expected=f"a date after {asked.from_on}")
    if days > MAX_DAYS:
        raise http_problem("invalid", where="to", found=f"{days} days", expected=f"at most {MAX_DAYS} days")
    if len(set(asked.by)) < len(asked.by):
        raise http_problem("invalid", where="by", found=",".join(asked.by), expected="each grouping once")
    dated = [grouping for grouping in asked.by if grouping in ("week", "month", "year")]
    if asked.compare is not None and dated:
        expected = "no week, month or year beside compare: the rows of two periods have no date in common"
        raise http_problem("invalid", where="by", found=",".join(dated), expected=expected)


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
