"""Answers whether a change of prices paid: load what tables sold and took in, compare, say it in a sentence (N3)."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from sqlmodel import Session

from ..earnings.queries import boxes_in
from ..pricing.effort import Effort
from ..web.errors import http_problem
from .convert import games_out, interval_out, means_of, money_of, side_out, weeks_out
from .judgement import EFFECT_CANNOT_KNOW, has_both_sides, judge_effect
from .panel import DaysOfTable, Weeks, days_of_tables, weeks_around, weeks_beside
from .prices_held import Change, change_of, holds_throughout
from .queries import Asked, TableHeld, asked_by_schedule, asked_by_tariff, tables_held
from .schemas import LeftOutOut, PriceChangeOut, PriceChangeTableOut, WhyLeftOut

_A_WEEK = timedelta(weeks=1)
_STEPS_OF_A_WEEK = 20


@dataclass(frozen=True, slots=True)
class _ComparedTable:
    """A table on one side of the comparison."""

    at: TableHeld
    change: Change | None
    weeks: Weeks


def read_price_change(
    session: Session, *, tariff_id: UUID | None, schedule_id: UUID | None, weeks: int
) -> PriceChangeOut:
    """Return what the change to a tariff or a schedule did.

    Refuses neither and both, what is unknown (``not_found``), prices that no table ever changed to (``no_price_change``)
    and ``too_much_work``.
    """
    asked = _asked(session, tariff_id, schedule_id)
    tables = tables_held(session, asked)
    changes = _changes(tables)
    if not changes:
        raise http_problem(
            "no_price_change",
            where="query.schedule_id" if tariff_id is None else "query.tariff_id",
            found=asked.name,
            expected="prices that at least one table sold after it had sold others",
        )
    counted = Counter(change for _, change in changes.values())
    _must_be_bounded(tables=len(tables), dates=len(counted), weeks=weeks)
    from_on = min(change.until_on for change in counted) - weeks * _A_WEEK
    until_on = max(change.from_on for change in counted) + weeks * _A_WEEK
    boxes = [box for box in boxes_in(session, from_on=from_on, until_on=until_on) if box.currency == asked.currency]
    days = days_of_tables(boxes)
    left_out: list[LeftOutOut] = []
    sides = _sides(tables, changes, counted, days, weeks=weeks, left_out=left_out)
    changed, beside = ([one.weeks for one in sides if (one.change is not None) == side] for side in (True, False))
    judged = judge_effect(changed, beside, asked.currency)
    collections: dict[str, set[UUID]] = {}
    for box in boxes:
        collections.setdefault(box.table_id, set()).add(UUID(box.collection_id))
    return PriceChangeOut(
        sentence=judged.sentence,
        verdict="cannot_tell" if judged.takings is None else judged.takings.verdict,
        effect=money_of(judged.takings.effect if judged.takings else None, asked.currency),
        interval=interval_out(judged.takings, asked.currency),
        currency=asked.currency,
        weeks=weeks,
        first_changed_on=min(change.from_on for change in counted),
        last_changed_on=max(change.from_on for change in counted),
        games=games_out(judged.games),
        changed=side_out(changed, asked.currency),
        beside=side_out(beside, asked.currency),
        by_week=weeks_out(changed, beside, asked.currency),
        tables=[_table_out(one, asked.currency, collections) for one in sides],
        left_out=left_out,
        cannot_know=list(EFFECT_CANNOT_KNOW),
    )


def _asked(session: Session, tariff_id: UUID | None, schedule_id: UUID | None) -> Asked:
    if tariff_id is not None and schedule_id is None:
        return asked_by_tariff(session, tariff_id)
    if schedule_id is not None and tariff_id is None:
        return asked_by_schedule(session, schedule_id)
    found = "neither" if tariff_id is None else "both"
    raise http_problem("invalid", where="query.tariff_id", found=found, expected="one of tariff_id and schedule_id")


def _must_be_bounded(*, tables: int, dates: int, weeks: int) -> None:
    Effort().spend(2 * _STEPS_OF_A_WEEK * tables * dates * weeks, where="query.weeks", smaller="ask about fewer weeks")


def _changes(tables: list[TableHeld]) -> dict[UUID, tuple[TableHeld, Change]]:
    """Return the tables that changed to the prices asked about, each by its last stay in which it did."""
    found = {}
    for one in tables:
        if change := change_of(one.held):
            found[one.table.id] = (one, change)
    return found


def _sides(
    tables: list[TableHeld],
    changes: Mapping[UUID, tuple[TableHeld, Change]],
    counted: Counter[Change],
    days: Mapping[str, DaysOfTable],
    *,
    weeks: int,
    left_out: list[LeftOutOut],
) -> list[_ComparedTable]:
    """Return the tables of both sides that count, in the order of their ids; note those left out and why."""
    nothing = DaysOfTable()
    found: dict[UUID, _ComparedTable] = {}
    whys: dict[UUID, tuple[TableHeld, WhyLeftOut]] = {}
    for one in tables:
        id_ = one.table.id
        collected = days.get(str(id_), nothing)
        change = changes[id_][1] if id_ in changes else None
        if change is not None and changes[id_][0] is not one:
            continue
        if change is None and not all(holds_throughout(one.held, each, weeks=weeks) for each in counted):
            whys.setdefault(id_, (one, "changed_otherwise"))
            continue
        if change is not None:
            around = weeks_around(collected, change, one.held, weeks=weeks)
        else:
            around = weeks_beside(collected, counted, one.held, weeks=weeks)
        if has_both_sides(around):
            found[id_] = _ComparedTable(one, change, around)
        else:
            whys[id_] = (one, "too_few_weeks" if collected.days else "nothing_collected")
    left_out += [
        LeftOutOut(table_id=id_, table=one.table.label, why=why)
        for id_, (one, why) in sorted(whys.items())
        if id_ not in found
    ]
    return [found[id_] for id_ in sorted(found)]


def _table_out(one: _ComparedTable, currency: str, collections: Mapping[str, set[UUID]]) -> PriceChangeTableOut:
    before, after = means_of(one.weeks)
    return PriceChangeTableOut(
        table_id=one.at.table.id,
        table=one.at.table.label,
        side="beside" if one.change is None else "changed",
        changed_on=None if one.change is None else one.change.from_on,
        weeks_before=len(one.weeks.side(one.weeks.takings, after=False)),
        weeks_after=len(one.weeks.side(one.weeks.takings, after=True)),
        before=money_of(before, currency),
        after=money_of(after, currency),
        collection_ids=sorted(collections.get(str(one.at.table.id), ())),
    )
