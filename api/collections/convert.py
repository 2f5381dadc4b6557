"""Between collections as stored, as values and as sent."""

from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from ..pricing import format_money
from ..settlements.convert import settlement_out
from ..settlements.expected_range import Expected
from ..settlements.rows import ReversalRow, SettlementRow
from ..tax_areas.percents import format_percent
from .box_count import BoxCount, CollectionCount, EmptiedBefore
from .box_word import word_at_table, word_in_all
from .coins import WeightCheck
from .collection_finding import CollectionFinding
from .difference import Difference, difference
from .expected_cash import MeterFinding
from .rows import CollectedTableRow, CollectionRow, DisputeAnswerRow, DisputeRow
from .schemas import (
    AsRecordedOut,
    CashAdviceOut,
    CollectedTableOut,
    CollectionOut,
    CollectionStatus,
    ComparedOut,
    DisputeOut,
    EmptiedBeforeOut,
    MeterFindingOut,
    OtherOut,
    RangeOut,
    ReversalOut,
    WeightOut,
    WordOut,
)
from .table_finding import TableFinding


@dataclass(slots=True)
class CollectionDetails:
    """A collection with its tables, its settlement, its reversal, its disputes and their answers."""

    row: CollectionRow
    tables: list[CollectedTableRow] = field(default_factory=list)
    settlement: SettlementRow | None = None
    reversal: ReversalRow | None = None
    disputes: list[tuple[DisputeRow, DisputeAnswerRow | None]] = field(default_factory=list)

    @property
    def status(self) -> CollectionStatus:
        """Whether it is settled, unsettled or reversed."""
        if self.reversal is not None:
            return "reversed"
        return "unsettled" if self.settlement is None else "settled"


def stored_count(row: CollectionRow, tables: list[CollectedTableRow]) -> CollectionCount:
    """Return a stored collection as it was counted."""
    return CollectionCount(
        id=row.id,
        venue_id=row.venue_id,
        currency=row.currency,
        collected_at=row.collected_at,
        collector=row.collector,
        witness=row.witness,
        bag=row.bag,
        seal=row.seal,
        boxes=tuple(box_of_row(table) for table in tables),
    )


def box_of_row(row: CollectedTableRow) -> BoxCount:
    """Return the count of a stored table."""
    return BoxCount(
        table_id=row.pool_table_id,
        meters=row.meters,
        counts=dict(row.counts),
        weighed_g={value: Decimal(grams) for value, grams in row.weighed_g},
        other=tuple((what, count) for what, count in row.other),
        refunds_from_box=row.refunds_from_box_minor,
        refunds_by_venue=row.refunds_by_venue_minor,
        test_games=row.test_games,
        test_money=row.test_money_minor,
        house_money=row.house_money_minor,
        emptied_before=emptied_before_of(row.emptied_before_at, row.emptied_before_meters),
    )


def emptied_before_of(at: datetime | None, meters: dict[str, int] | None) -> EmptiedBefore | None:
    """Return the emptying that a stored table states, if it states one."""
    return None if at is None else EmptiedBefore(at, meters or {})


def rows_of(
    count: CollectionCount,
    finding: CollectionFinding,
    *,
    record_id: UUID,
    trading_on: date,
    now: datetime,
    recorded_by: str,
    collector: str,
    corrects_id: UUID | None,
    is_late: bool,
) -> CollectionDetails:
    """Return a collection and its tables as rows, with the judgement at the time; their order is not given yet."""
    whole, boxes = finding.whole, count.boxes
    least, most = _ends(whole.expected)
    row = CollectionRow(
        id=count.id,
        record_id=record_id,
        sequence=0,
        venue_id=count.venue_id,
        currency=count.currency,
        collected_at=count.collected_at,
        trading_on=trading_on,
        received_at=now,
        recorded_by=recorded_by,
        collector=collector,
        witness=count.witness,
        bag=count.bag,
        seal=count.seal,
        corrects_id=corrects_id,
        is_late=is_late,
        counted_minor=whole.counted,
        expected_least_minor=least,
        expected_most_minor=most,
        difference_minor=None if whole.difference is None else whole.difference.amount,
        refunds_by_venue_minor=sum(box.refunds_by_venue for box in boxes),
        house_money_minor=sum(box.house_money for box in boxes),
        test_money_minor=sum(box.test_money for box in boxes),
    )
    return CollectionDetails(row, [_table_row(row.id, place, found) for place, found in enumerate(finding.tables)])


def _table_row(collection_id: UUID, place: int, finding: TableFinding) -> CollectedTableRow:
    box, emptied = finding.box, finding.box.emptied_before
    least, most = _ends(finding.expectation.expected)
    return CollectedTableRow(
        collection_id=collection_id,
        pool_table_id=finding.table_id,
        place=place,
        meters=dict(box.meters),
        counts=[(value, count) for value, count in box.counts.items()],
        weighed_g=[(value, f"{grams:f}") for value, grams in box.weighed_g.items()],
        other=list(box.other),
        refunds_from_box_minor=box.refunds_from_box,
        refunds_by_venue_minor=box.refunds_by_venue,
        test_games=box.test_games,
        test_money_minor=box.test_money,
        house_money_minor=box.house_money,
        emptied_before_at=None if emptied is None else emptied.at,
        emptied_before_meters=None if emptied is None else dict(emptied.meters),
        counted_minor=box.counted,
        since_at=finding.since_at,
        meters_before={meter.name: meter.before for meter in finding.expectation.meters if meter.before is not None},
        expected_least_minor=least,
        expected_most_minor=most,
        difference_minor=None if finding.difference is None else finding.difference.amount,
        is_figure=finding.expectation.is_figure,
        cautions=list(finding.cautions),
    )


def collection_out(details: CollectionDetails, finding: CollectionFinding) -> CollectionOut:
    """Write a collection, as it is found now, and everything that belongs to it."""
    row, settlement, whole = details.row, details.settlement, finding.whole
    currency = row.currency
    advice = [CashAdviceOut(code=a.code, detail=a.detail, table_id=a.table_id) for a in finding.advice]
    for item in settlement.advice if settlement is not None else ():
        advice.append(CashAdviceOut(code=item["code"], detail=item["detail"], table_id=None))
    return CollectionOut(
        id=row.id,
        venue_id=row.venue_id,
        status=details.status,
        currency=currency,
        collected_at=row.collected_at,
        trading_on=row.trading_on,
        received_at=row.received_at,
        collector=row.collector,
        witness=row.witness,
        bag=row.bag,
        seal=row.seal,
        corrects=row.corrects_id,
        counted=format_money(row.counted_minor, currency),
        expected=_range_out(whole.expected, currency),
        difference=whole.difference and format_money(whole.difference.amount, currency),
        difference_percent=whole.difference and _percent(whole.difference),
        compared=None
        if whole.expected is None
        else ComparedOut(
            tables=whole.compared, of=len(finding.tables), counted=format_money(whole.compared_count, currency)
        ),
        as_recorded=_as_recorded(row, currency),
        word=word_in_all(finding.tables, currency),
        tables=[
            _table_out(found, table, currency) for found, table in zip(finding.tables, details.tables, strict=True)
        ],
        settlement=settlement and settlement_out(settlement, currency),
        advice=advice,
        cautions=[*finding.cautions, *(["no_agreement"] if details.status == "unsettled" else [])],
        entry_id=settlement and settlement.entry_id,
        reversal=details.reversal and _reversal_out(details.reversal),
        disputes=[dispute_out(dispute, answer) for dispute, answer in details.disputes],
    )


def dispute_out(row: DisputeRow, answer: DisputeAnswerRow | None) -> DisputeOut:
    """Write a dispute with its answer, if it has one."""
    return DisputeOut(
        id=row.id,
        by=row.raised_by,
        claims=row.claims,
        reason=row.reason,
        raised_at=row.raised_at,
        answer=answer and answer.answer,
        answered_by=answer and answer.answered_by,
        answered_at=answer and answer.answered_at,
    )


def _table_out(finding: TableFinding, row: CollectedTableRow, currency: str) -> CollectedTableOut:
    box, expectation, off = finding.box, finding.expectation, finding.difference
    emptied, word = box.emptied_before, word_at_table(finding, currency)
    return CollectedTableOut(
        table_id=finding.table_id,
        label=finding.label,
        since=finding.since_at,
        counts={format_money(value, currency): count for value, count in box.counts.items()},
        counted=format_money(box.counted, currency),
        expected=_range_out(expectation.expected, currency),
        difference=off and format_money(off.amount, currency),
        difference_percent=off and _percent(off),
        meters=[_meter_out(meter, currency) for meter in expectation.meters],
        weights=[_weight_out(value, check, finding, currency) for value, check in finding.weighings],
        other=[OtherOut(what=what, count=count) for what, count in box.other],
        refunds_from_box=format_money(box.refunds_from_box, currency),
        refunds_by_venue=format_money(box.refunds_by_venue, currency),
        test_games=box.test_games,
        test_money=format_money(box.test_money, currency),
        house_money=format_money(box.house_money, currency),
        emptied_before=emptied and EmptiedBeforeOut(at=emptied.at, meters=dict(emptied.meters)),
        cautions=list(finding.cautions),
        word=word and WordOut(code=word.code, text=word.text),
        as_recorded=_as_recorded(row, currency),
    )


def _as_recorded(row: CollectionRow | CollectedTableRow, currency: str) -> AsRecordedOut:
    expected = _expected(row.expected_least_minor, row.expected_most_minor)
    amount = row.difference_minor
    off = None if expected is None or amount is None else _difference(amount, expected)
    return AsRecordedOut(
        expected=_range_out(expected, currency),
        difference=off and format_money(off.amount, currency),
        difference_percent=off and _percent(off),
    )


def _reversal_out(row: ReversalRow) -> ReversalOut:
    return ReversalOut(
        reason=row.reason, reversed_at=row.reversed_at, reversed_by=row.reversed_by, entry_id=row.entry_id
    )


def _meter_out(meter: MeterFinding, currency: str) -> MeterFindingOut:
    return MeterFindingOut(
        name=meter.name,
        counts=meter.counts,
        before=meter.before,
        now=meter.value,
        kind=meter.kind,
        delta=meter.delta,
        says=_range_out(meter.story, currency),
    )


def _weight_out(value: int, check: WeightCheck | None, finding: TableFinding, currency: str) -> WeightOut:
    return WeightOut(
        denomination=format_money(value, currency),
        count=finding.box.counts.get(value, 0),
        weighed_g=f"{finding.box.weighed_g[value]:f}",
        expected_g=check and f"{check.expected_g:f}",
        off_g=check and f"{check.off_g:f}",
        count_by_weight=check and check.count_by_weight,
        agrees=check and check.agrees,
    )


def _range_out(expected: Expected | None, currency: str) -> RangeOut | None:
    if expected is None:
        return None
    return RangeOut(least=format_money(expected.least, currency), most=format_money(expected.most, currency))


def _expected(least: int | None, most: int | None) -> Expected | None:
    return None if least is None or most is None else Expected(least, most)


def _ends(expected: Expected | None) -> tuple[int | None, int | None]:
    return (None, None) if expected is None else (expected.least, expected.most)


def _difference(amount: int, expected: Expected) -> Difference:
    """Return a stored difference with its percentage: off the range's least where it is short, else off its most."""
    return difference((expected.least if amount < 0 else expected.most) + amount, expected)


def _percent(found: Difference) -> str | None:
    return None if found.percent is None else format_percent(found.percent)
