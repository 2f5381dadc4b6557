"""Reads what reports are made of."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlmodel import Session, col, select

from ..collections.gathering import stands
from ..collections.rows import CollectedTableRow, CollectionRow
from ..ledger.export.period import Period
from ..ledger.queries import read_entries
from ..ledger.rows import EntryRow, PostingRow
from ..pool_tables.service import get_table
from ..pricing import format_money
from ..settlements.rows import SettlementRow
from ..settlements.settling import waiting_claims
from ..tax_areas.percents import format_percent
from ..tax_areas.rows import TaxAreaRow
from ..tax_areas.tax_area import NOT_ADVICE
from ..venues.dated_fact import payee_spells
from ..venues.rows import VenueRow
from ..venues.service import facts_of
from ..web.errors import refused
from .charts import FEWEST_POINTS, Chart, Point, chart, point
from .schemas import DifferencesOut, PointOut, SignalOut, TaxLineOut, TaxReportOut
from .statement import Statement, statement
from .year_totals import YearTotals, year_totals


@dataclass(slots=True)
class _Sum:
    """The tables of one collection that have a money meter's figure, added up."""

    collection: CollectionRow
    counted: int = 0
    expected: int = 0


def differences_of_table(session: Session, table_id: UUID) -> DifferencesOut:
    """Chart the differences of a table in the order of its collections."""
    get_table(session, table_id)
    return _differences(session, table_id=table_id, collector=None)


def differences_of_collector(session: Session, collector: str) -> DifferencesOut:
    """Chart the differences of whoever collected, one point a collection."""
    return _differences(session, table_id=None, collector=collector)


def tax_report(session: Session, *, from_on: date, to_on: date) -> TaxReportOut:
    """Add up the taxes of settlements that stand by area, currency, rate and calendar month of the trading date."""
    if to_on < from_on:
        raise refused("invalid", where="to", found=to_on, expected=f"{from_on} or later")
    query = (
        select(SettlementRow, CollectionRow.currency)
        .join(CollectionRow, col(CollectionRow.id) == col(SettlementRow.collection_id))
        .where(
            col(SettlementRow.trading_on).between(from_on, to_on), col(SettlementRow.tax_area).is_not(None), stands()
        )
    )
    groups: dict[tuple[str, str, str, str], list[SettlementRow]] = defaultdict(list)
    for row, currency in session.exec(query).all():
        groups[row.tax_area or "", currency, row.trading_on.isoformat()[:7], row.tax_rate or ""].append(row)
    names = {row.code: row.name for row in session.exec(select(TaxAreaRow)).all()}
    items = [
        TaxLineOut(
            tax_area=area,
            name=names[area],
            rate=rate,
            month=month,
            currency=currency,
            collections=len(rows),
            taxed=format_money(sum(row.taxed_minor for row in rows), currency),
            tax=format_money(sum(row.tax_minor for row in rows), currency),
        )
        for (area, currency, month, rate), rows in sorted(groups.items())
    ]
    return TaxReportOut(from_on=from_on, to_on=to_on, items=items, notice=NOT_ADVICE)


def _differences(session: Session, *, table_id: UUID | None, collector: str | None) -> DifferencesOut:
    sums = [found for found in _sums(session, table_id=table_id, collector=collector) if found.expected > 0]
    points = [found for found in map(_point, sums) if found is not None]
    charted = chart(points)
    few = f"{len(points)} collections with a money meter's figure; a chart needs {FEWEST_POINTS}."
    return DifferencesOut(
        table_id=table_id,
        collector=collector,
        points=[_point_out(i, found, charted) for i, found in enumerate(sums)],
        sigma_percent=charted and _share(charted.sigma),
        ewma_limit_percent=charted and _share(charted.limit),
        cusum_limit_percent=charted and _share(charted.h),
        signals=[
            SignalOut(
                chart=signal.chart,
                side=signal.side,
                seen_at=UUID(signal.seen_at),
                points_to=UUID(signal.points_to),
                detail=signal.detail,
            )
            for signal in (charted.signals if charted else ())
        ],
        notice=charted.notice if charted else "Too few collections to tell a lean from chance.",
        why_no_chart=None if charted else few,
    )


def _sums(session: Session, *, table_id: UUID | None, collector: str | None) -> Iterable[_Sum]:
    """Return the collections that make points, in time order; of a collector, with all that came before at the tables."""
    tables = select(CollectedTableRow.pool_table_id)
    if table_id is not None:
        tables = tables.where(CollectedTableRow.pool_table_id == table_id)
    if collector is not None:
        collected = select(CollectionRow.id).where(CollectionRow.collector == collector)
        tables = tables.where(col(CollectedTableRow.collection_id).in_(collected))
    query = (
        select(CollectionRow, CollectedTableRow)
        .join(CollectedTableRow, col(CollectedTableRow.collection_id) == col(CollectionRow.id))
        .where(col(CollectedTableRow.pool_table_id).in_(tables), stands())
        .order_by(col(CollectionRow.collected_at), col(CollectionRow.record_id))
    )
    sums: dict[UUID, _Sum] = {}
    last: dict[UUID, tuple[CollectionRow, CollectedTableRow]] = {}
    for collection, table in session.exec(query).all():
        before, last[table.pool_table_id] = last.get(table.pool_table_id), (collection, table)
        if table.is_figure and collector in (None, collection.collector) and _goes_on_from(before, table):
            found = sums.setdefault(collection.id, _Sum(collection))
            found.counted += table.counted_minor
            found.expected += table.expected_most_minor or 0
    return sums.values()


def _goes_on_from(before: tuple[CollectionRow, CollectedTableRow] | None, table: CollectedTableRow) -> bool:
    """Tell whether a figure goes on from what now stands before it: not where that was corrected or arrived late."""
    if before is None:
        return True
    since, emptied_at = datetime.fromisoformat(table.told["since"]), before[0].collected_at
    read = {meter["name"]: meter["before"] for meter in table.told["meters"] if meter["before"]}  # 0 after a reset
    return since > emptied_at or (since == emptied_at and read.items() <= before[1].meters.items())


def _point(found: _Sum) -> Point | None:
    return point(str(found.collection.id), counted=found.counted, expected=found.expected)


def _point_out(place: int, found: _Sum, charted: Chart | None) -> PointOut:
    collection, currency = found.collection, found.collection.currency
    made = _point(found)
    assert made is not None
    return PointOut(
        collection_id=collection.id,
        collected_at=collection.collected_at,
        currency=currency,
        expected=format_money(found.expected, currency),
        counted=format_money(found.counted, currency),
        difference=format_money(found.counted - found.expected, currency),
        difference_percent=format_percent(made.share * 100),
        ewma_percent=charted and _share(charted.ewma[place]),
        cusum_high_percent=charted and _share(charted.sums.high[place]),
        cusum_low_percent=charted and _share(charted.sums.low[place]),
    )


def _share(share: float) -> str:
    """Write a share as per cent with two decimals."""
    return f"{share * 100:.2f}"


def read_statement(session: Session, *, venue: VenueRow, period: Period) -> Statement:
    """Return a venue's statement over a period, with what its settlements carried forward and the period's payees."""
    carried: Counter[str] = Counter()
    for claim in waiting_claims(session, venue.id, until_on=period.to_on):
        carried[claim.name or claim.code] += claim.amount
    mine = select(PostingRow.entry_number).where(PostingRow.venue_id == venue.id)
    return statement(
        read_entries(session, col(EntryRow.number).in_(mine), col(EntryRow.booked_on) <= period.to_on),
        venue_id=str(venue.id),
        currency=venue.currency,
        period=period,
        carried_forward=carried,
        payees=payee_spells(facts_of(session, [venue.id])[venue.id], from_on=period.from_on, to_on=period.to_on),
    )


def read_year(session: Session, year: int) -> tuple[YearTotals, ...]:
    """Return each venue's totals of a calendar year, by payee."""
    period = Period.of_year(year)
    entries = read_entries(session, col(EntryRow.booked_on).between(period.from_on, period.to_on))
    facts = facts_of(session)
    venue_ids = {entry.venue_id for entry in entries if entry.venue_id}
    payees = {
        venue_id: payee_spells(facts[UUID(venue_id)], from_on=period.from_on, to_on=period.to_on)
        for venue_id in venue_ids
    }
    return year_totals(entries, year, payees=payees)
