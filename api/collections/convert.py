"""Writes collections as their messages: what was told when they were recorded, and how they stand now."""

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from ..pricing import format_money
from ..settlements.convert import settlement_out
from ..settlements.expected import Expected
from ..settlements.rows import ReversalRow, SettlementRow
from ..tax_areas.percents import format_percent
from .coins import WeightCheck
from .expected import Difference, difference
from .expected_cash import MeterFinding
from .rows import CollectedTableRow, CollectionRow, DisputeAnswerRow, DisputeRow
from .schemas import (
    CashAdviceOut,
    CollectedTableOut,
    CollectionOut,
    DisputeOut,
    MeterFindingOut,
    OtherOut,
    RangeOut,
    ReversalOut,
    Status,
    WeightOut,
)
from .table_finding import TableFinding


@dataclass(slots=True)
class Around:
    """What hangs on a collection: its tables, its settlement, its reversal, its disputes with their answers."""

    tables: list[CollectedTableRow] = field(default_factory=list)
    settlement: SettlementRow | None = None
    reversal: ReversalRow | None = None
    disputes: list[tuple[DisputeRow, DisputeAnswerRow | None]] = field(default_factory=list)

    @property
    def status(self) -> Status:
        """How the collection stands."""
        if self.reversal is not None:
            return "reversed"
        return "unsettled" if self.settlement is None else "settled"


def collection_out(row: CollectionRow, hung: Around) -> CollectionOut:
    """Write a collection and what hangs on it."""
    settlement, currency = hung.settlement, row.currency
    expected = _expected(row.expected_least_minor, row.expected_most_minor)
    in_all = None if expected is None or row.difference_minor is None else _difference(row.difference_minor, expected)
    advice = [
        CashAdviceOut(**item) for item in (*row.advice, *({**a, "table_id": None} for a in _advice_of(settlement)))
    ]
    return CollectionOut(
        id=row.id,
        venue_id=row.venue_id,
        status=hung.status,
        currency=currency,
        collected_at=row.collected_at,
        trading_on=row.trading_on,
        received_at=row.received_at,
        collector=row.collector,
        **{name: row.content[name] for name in ("witness", "bag", "seal")},
        corrects=row.corrects_id,
        counted=format_money(row.counted_minor, currency),
        expected=_range_out(expected, currency),
        difference=in_all and format_money(in_all.amount, currency),
        difference_percent=in_all and _percent(in_all.percent),
        tables=[CollectedTableOut(**table.told) for table in hung.tables],
        settlement=settlement and settlement_out(settlement, currency),
        advice=advice,
        cautions=[*row.cautions, *(["no_agreement"] if hung.status == "unsettled" else [])],
        entry_id=settlement and settlement.entry_id,
        reversal=hung.reversal and _reversal_out(hung.reversal),
        disputes=[dispute_out(dispute, answer) for dispute, answer in hung.disputes],
    )


def table_out(finding: TableFinding, currency: str) -> CollectedTableOut:
    """Write what was found at one table."""
    box, expectation, off = finding.box, finding.expectation, finding.difference
    return CollectedTableOut(
        table_id=finding.table.id,
        label=finding.table.label,
        since=finding.since_at,
        counts={format_money(value, currency): count for value, count in box.counts.items()},
        counted=format_money(box.counted, currency),
        expected=_range_out(expectation.expected, currency),
        difference=off and format_money(off.amount, currency),
        difference_percent=off and _percent(off.percent),
        meters=[_meter_out(meter, currency) for meter in expectation.meters],
        weights=[_weight_out(value, check, finding, currency) for value, check in finding.weighings],
        other=[OtherOut(what=what, count=count) for what, count in box.other],
        refunds_from_box=format_money(box.refunds_from_box, currency),
        refunds_by_venue=format_money(box.refunds_by_venue, currency),
        test_games=box.test_games,
        test_money=format_money(box.test_money, currency),
        house_money=format_money(box.house_money, currency),
        cautions=list(finding.cautions),
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


def _advice_of(settlement: SettlementRow | None) -> list[dict[str, Any]]:
    return [] if settlement is None else settlement.advice


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


def _difference(amount: int, expected: Expected) -> Difference:
    """Return a stored difference with its percentage: it stands off the range's least where it is short, else off its most."""
    return difference((expected.least if amount < 0 else expected.most) + amount, expected)


def _percent(percent: Fraction | None) -> str | None:
    return None if percent is None else format_percent(percent)
