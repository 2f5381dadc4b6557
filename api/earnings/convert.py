"""Writes earnings as messages and as CSV."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime
from fractions import Fraction
from typing import Any
from uuid import UUID

from ..pricing import format_money, parse_money
from ..pricing.money import round_half_up
from ..web.csv_text import CsvText, csv_text, text_cell
from .bars_picture import BARS_MAX, Bar, Panel, bars_picture, longest
from .best_and_worst import LikelyReasons, Placed, Ranking, reasons
from .box_parts import parts_of
from .earned_totals import BOX_AMOUNTS, Earned, Grouping, GroupKey, Sum
from .money_by_day import MeterPoint, days_of
from .not_collected import NotYetCollected
from .rows import EarnedBoxRow
from .schemas import (
    BestAndWorstOut,
    EarningsAmountsOut,
    EarningsOut,
    EarningsRowOut,
    EarningsTotalOut,
    NotYetCollectedOut,
    PlacedTableOut,
    RankingOut,
)
from .weeks_picture import Waiting, weeks_of, weeks_picture

_COLUMNS = ("gross", "refunds", "tax", "venue_share", "operator_share", "unsettled", "expenses", "profit")
_CENTS_OF_A_WEEK = Fraction(100, 7)


def box_values(box: Earned, *, collected_at: datetime) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Return the values of a box as it is kept: of the box, and of its parts by week and month."""
    days = days_of(emptied_before_on=box.emptied_before_on, emptied_on=box.emptied_on)
    whose: dict[str, Any] = {
        "collection_id": UUID(box.collection_id),
        "pool_table_id": UUID(box.table_id),
        "venue_id": UUID(box.venue_id),
        "currency": box.currency,
        "agreement_id": None if box.agreement_id is None else UUID(box.agreement_id),
        "entry_id": None if box.entry_id is None else UUID(box.entry_id),
    }
    amounts: dict[str, Any] = {name: getattr(box, name) for name in BOX_AMOUNTS}
    row = dict(
        **whose,
        collected_at=collected_at,
        emptied_before_on=box.emptied_before_on,
        first_on=days[0],
        last_on=days[-1],
        **amounts,
        denominations=[[value, amount] for value, amount in box.denominations.items()],
        points=[[point.on.isoformat(), str(point.share)] for point in box.points],
        out_of_order=[[day.isoformat(), str(share)] for day, share in box.out_of_order.items()],
        is_spread=bool(box.out_of_order),
    )
    parts = [
        dict(
            **whose,
            first_on=part.first_on,
            week_on=part.week_on,
            month=part.month,
            days=part.days,
            box_first_on=days[0],
            box_last_on=days[-1],
            **part.amounts,
        )
        for part in ([] if box.out_of_order else parts_of(box))
    ]
    return row, parts


def read_box(row: EarnedBoxRow) -> Earned:
    """Return a box as it was kept."""
    return Earned(
        collection_id=str(row.collection_id),
        entry_id=None if row.entry_id is None else str(row.entry_id),
        table_id=str(row.pool_table_id),
        venue_id=str(row.venue_id),
        currency=row.currency,
        emptied_before_on=row.emptied_before_on,
        emptied_on=row.last_on,
        **{name: getattr(row, name) for name in BOX_AMOUNTS},
        denominations=dict(row.denominations),
        points=tuple(MeterPoint(date.fromisoformat(on), Fraction(share)) for on, share in row.points),
        out_of_order={date.fromisoformat(on): Fraction(share) for on, share in row.out_of_order},
        agreement_id=None if row.agreement_id is None else str(row.agreement_id),
    )


def figures_of(row: Sum, currency: str) -> dict[str, Any]:
    """Return the figures of a row as its message writes them."""
    hundredths = round_half_up(row.table_days * _CENTS_OF_A_WEEK)
    return {
        **{name: format_money(getattr(row, name), currency) for name in _COLUMNS},
        "games": row.games,
        "minutes": row.minutes,
        "table_weeks": f"{hundredths // 100}.{hundredths % 100:02}",
    }


def row_out(
    key: GroupKey,
    row: Sum,
    *,
    by: Sequence[Grouping],
    tables: Mapping[UUID, str],
    venues: Mapping[UUID, str],
    before: Sum | None,
) -> EarningsRowOut:
    """Write a row; ``before`` is the same row of the period compared with, if one was asked for."""
    currency, values = key[0], dict(zip(by, key[1:], strict=True))
    table_id, venue_id = (UUID(values[name]) if values.get(name) else None for name in ("table", "venue"))
    return EarningsRowOut(
        **figures_of(row, currency),
        currency=currency,
        table_id=table_id,
        table=None if table_id is None else tables.get(table_id),
        venue_id=venue_id,
        venue=None if venue_id is None else venues.get(venue_id),
        agreement_id=UUID(values["agreement"]) if values.get("agreement") else None,
        week=date.fromisoformat(values["week"]) if "week" in values else None,
        month=values.get("month"),
        year=values.get("year"),
        denomination=format_money(int(values["denomination"]), currency) if values.get("denomination") else None,
        before=None if before is None else EarningsAmountsOut(**figures_of(before, currency)),
        gross_change_percent=None if before is None else _change(row.gross, before.gross),
        collection_ids=sorted(row.collection_ids),
        entry_ids=sorted(row.entry_ids),
        expense_entry_ids=sorted(map(UUID, row.expense_entry_ids)),
    )


def total_out(currency: str, row: Sum) -> EarningsTotalOut:
    """Write the whole of one currency."""
    return EarningsTotalOut(**figures_of(row, currency), currency=currency)


def ranking_out(
    ranking: Ranking, facts: Mapping[UUID, LikelyReasons], *, tables: Mapping[UUID, str], venues: Mapping[UUID, str]
) -> RankingOut:
    """Write the best and the worst tables of a currency, each with possible reasons."""
    shown = [facts[UUID(one.table_id)] for one in (*ranking.best, *ranking.worst) if UUID(one.table_id) in facts]

    def placed(one: Placed) -> PlacedTableOut:
        table_id, venue_id = UUID(one.table_id), UUID(one.venue_id)
        known = facts.get(table_id, LikelyReasons(first_price=None, hours_sold=None, days_out_of_order=Fraction(0)))
        figures = figures_of(one.figures, one.currency)
        return PlacedTableOut(
            table_id=table_id,
            table=tables[table_id],
            venue_id=venue_id,
            venue=venues[venue_id],
            place=one.place,
            a_week=format_money(round_half_up(one.a_week), one.currency),
            gross=figures["gross"],
            games=figures["games"],
            table_weeks=figures["table_weeks"],
            first_price=None if known.first_price is None else format_money(known.first_price, one.currency),
            hours_sold=None if known.hours_sold is None else _tenths(known.hours_sold),
            days_out_of_order=_tenths(known.days_out_of_order),
            why=reasons(one, known, shown),
            collection_ids=sorted(map(UUID, one.figures.collection_ids)),
        )

    return RankingOut(
        currency=ranking.currency,
        tables=ranking.tables,
        middle_a_week=format_money(round_half_up(ranking.middle), ranking.currency),
        best=[placed(one) for one in ranking.best],
        worst=[placed(one) for one in ranking.worst],
    )


def _tenths(value: Fraction) -> str:
    tenths = round_half_up(value * 10)
    return f"{tenths // 10}.{tenths % 10}"


def not_collected_out(found: NotYetCollected, *, tables: Mapping[UUID, str]) -> NotYetCollectedOut:
    """Write the days of a table whose money is still in its box."""
    box, table_id = found.box, UUID(found.box.table_id)
    return NotYetCollectedOut(
        table_id=table_id,
        table=tables[table_id],
        venue_id=UUID(box.venue_id),
        from_=found.from_on,
        to=found.until_on,
        currency=box.currency,
        estimate=None if found.estimate is None else format_money(found.estimate, box.currency),
    )


def earnings_csv(rows: Iterable[EarningsRowOut], by: Sequence[Grouping]) -> CsvText:
    """Write one line a row: what it is grouped by, the currency, the figures. Amounts add up to the totals."""
    named = {"table": ("table_id", "table"), "venue": ("venue_id", "venue"), "agreement": ("agreement_id",)}
    heads = [name for grouping in by for name in named.get(grouping, (grouping,))]
    columns = [*heads, "currency", *_COLUMNS, "games", "minutes", "table_weeks"]
    return csv_text(columns, ([_cell(name, getattr(row, name)) for name in columns] for row in rows))


def earnings_svg(found: EarningsOut) -> str:
    """Draw the rows: by week alone, a column a week with what is not yet collected hatched; else a bar a row."""
    if found.by != ["week"]:
        return earnings_bars(found)
    gross = {
        (row.currency, row.week): parse_money(row.gross, row.currency) for row in found.rows if row.week is not None
    }
    waiting = [
        Waiting(
            currency=one.currency,
            from_on=one.from_,
            until_on=one.to,
            estimate=parse_money(one.estimate, one.currency),
        )
        for one in found.not_yet_collected
        if one.estimate is not None
    ]
    weeks = weeks_of(gross, waiting, from_on=found.from_, until_on=found.to)
    return weeks_picture(weeks, from_on=found.from_, until_on=found.to)


def earnings_bars(found: EarningsOut) -> str:
    """Draw a bar for each row, of each currency; by table or by venue, with what is not yet collected hatched."""
    waiting: dict[tuple[str, str], int] = defaultdict(int)
    if found.by in (["table"], ["venue"]):
        for one in found.not_yet_collected:
            if one.estimate is not None:
                id_ = one.table_id if found.by == ["table"] else one.venue_id
                waiting[one.currency, str(id_)] += parse_money(one.estimate, one.currency)
    bars: dict[str, list[Bar]] = defaultdict(list)
    for row in found.rows:
        beyond = waiting.pop((row.currency, str(row.table_id if found.by == ["table"] else row.venue_id)), 0)
        amount = parse_money(row.gross, row.currency)
        name = ", ".join(_name_of(row, grouping) for grouping in found.by) or "In all"
        bars[row.currency].append(
            Bar(name=name, amount=amount, beyond=beyond, words=_amount_in(row.currency)(amount, beyond))
        )
    in_time = found.by[:1] in (["week"], ["month"], ["year"])
    panels = [
        Panel(
            head=f"Takings in {currency}",
            bars=of_one if in_time and len(of_one) <= 5 * BARS_MAX else longest(of_one, words=_amount_in(currency)),
        )
        for currency, of_one in sorted(bars.items())
    ]
    named = f" by {' and '.join(found.by)}" if found.by else ""
    return bars_picture(
        f"Takings{named}",
        panels,
        from_on=found.from_,
        until_on=found.to,
        legend="Grey: counted. Hatched: estimated, not yet collected.",
    )


def _amount_in(currency: str) -> Callable[[int, int], str]:
    def words(amount: int, beyond: int) -> str:
        counted = format_money(amount, currency)
        return f"{counted} + about {format_money(beyond, currency)}" if beyond else counted

    return words


def _name_of(row: EarningsRowOut, grouping: str) -> str:
    """Return what a row is called by one of its groupings."""
    match grouping:
        case "table":
            return row.table or "no table"
        case "venue":
            return row.venue or "no venue"
        case "agreement":
            return "no agreement" if row.agreement_id is None else f"agreement {str(row.agreement_id)[-6:]}"
        case _:
            return str(getattr(row, grouping) or "none")


def best_and_worst_svg(found: BestAndWorstOut) -> str:
    """Draw what a week of the best and of the worst tables takes in, with the middle table's dashed across."""
    panels = []
    for ranking in found.rankings:
        highest = max(parse_money(one.a_week, ranking.currency) for one in ranking.best)
        for head, tables in (("Best", ranking.best), ("Worst", ranking.worst)):
            bars = [
                Bar(
                    name=f"{one.place}. {one.table}, {one.venue}",
                    amount=parse_money(one.a_week, ranking.currency),
                    words=one.a_week,
                )
                for one in tables
            ]
            if bars:
                panels.append(
                    Panel(
                        head=f"{head} of {ranking.tables} tables, takings a week in {ranking.currency}",
                        bars=bars,
                        highest=highest,
                        middle=parse_money(ranking.middle_a_week, ranking.currency),
                    )
                )
    return bars_picture(
        "Best and worst tables",
        panels,
        from_on=found.from_,
        until_on=found.to,
        legend="Takings a week, less refunds. The line across the bars: the middle table.",
    )


def best_and_worst_csv(found: BestAndWorstOut) -> CsvText:
    """Write one line a table: its currency, side and place, its figures, and possible reasons."""
    figures = ("a_week", "gross", "games", "table_weeks", "first_price", "hours_sold", "days_out_of_order")
    columns = ("currency", "side", "place", "table_id", "table", "venue_id", "venue", *figures, "why")
    return csv_text(
        columns,
        (
            [
                ranking.currency,
                side,
                one.place,
                one.table_id,
                text_cell(one.table),
                one.venue_id,
                text_cell(one.venue),
                *(_cell(name, getattr(one, name)) for name in figures),
                text_cell(" ".join(one.why)),
            ]
            for ranking in found.rankings
            for side, tables in (("best", ranking.best), ("worst", ranking.worst))
            for one in tables
        ),
    )


def _cell(name: str, value: object) -> str:
    text = "" if value is None else str(value)
    return text_cell(text) if name in ("table", "venue") else text


def _change(now: int, before: int) -> str | None:
    """Return the change in per cent, to one decimal; None where there was nothing before."""
    if not before:
        return None
    tenths = round_half_up(Fraction((now - before) * 1000, before))
    return f"{'-' if tenths < 0 else ''}{abs(tenths) // 10}.{abs(tenths) % 10}"
