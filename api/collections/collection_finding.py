"""A whole collection: the findings at its tables, their sums, and its settlement.

- The preview, the collection itself and every later answer come from here (C6, C9).
- In all, only tables that have an expectation are compared; how many those are is part of the answer (C4).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from ..settlements.agreement import SettlesOn
from ..settlements.box_contents import Box
from ..settlements.carried_forward import Claim
from ..settlements.expected_range import Expected
from ..settlements.opening_state import Division, SettlingFacts, divide
from .box_count import BoxCount, CollectionCount
from .coins import coins_mass_g, lifting_advice
from .difference import InAll, in_all
from .meter_baseline import TableHistory
from .table_finding import TableFinding, find_at_table


@dataclass(frozen=True, slots=True)
class CollectionAdvice:
    """Something worth knowing about a collection, of one of its tables or (None) of all of it."""

    code: str
    detail: str
    table_id: UUID | None


@dataclass(frozen=True, slots=True)
class CollectionFinding:
    """The findings at a collection's tables, in their order, and their sums."""

    tables: tuple[TableFinding, ...]
    whole: InAll
    cautions: tuple[str, ...]
    advice: tuple[CollectionAdvice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CollectionFacts:
    """All that is known when a collection is decided; ``corrects_id`` is the reversed one whose place it takes."""

    trading_on: date
    histories: Mapping[UUID, TableHistory]
    corrects_id: UUID | None
    is_late: bool
    settling: SettlingFacts
    revisions: tuple[Claim, ...]


@dataclass(frozen=True, slots=True)
class CollectionDecision:
    """A collection as it is decided: what was found, and how it is divided (None: no agreement, C7)."""

    finding: CollectionFinding
    division: Division | None


def decide_collection(count: CollectionCount, facts: CollectionFacts) -> CollectionDecision:
    """Return what is found at a collection's tables, and how its money is divided."""
    finding = find_collection(
        count.boxes,
        facts.histories,
        at=count.collected_at,
        id=count.id,
        venue_id=count.venue_id,
        currency=count.currency,
        is_late=facts.is_late,
    )
    division = divide(
        facts.settling,
        box_to_settle(count.boxes, finding.whole),
        currency=count.currency,
        trading_on=facts.trading_on,
        revisions=facts.revisions,
    )
    return CollectionDecision(finding, division)


def find_collection(
    boxes: Sequence[BoxCount],
    histories: Mapping[UUID, TableHistory],
    *,
    at: datetime,
    id: UUID | None,
    venue_id: UUID,
    currency: str,
    is_late: bool,
) -> CollectionFinding:
    """Return what is found at the tables of a collection; ``id`` is None where it was reversed."""
    found = tuple(
        find_at_table(histories[box.table_id], box, at=at, id=id, venue_id=venue_id, currency=currency) for box in boxes
    )
    whole = in_all([(finding.box.counted, finding.expectation.expected) for finding in found])
    cautions = dict.fromkeys(caution for finding in found for caution in finding.cautions)
    some = 0 < whole.compared < len(found)
    return CollectionFinding(
        tables=found,
        whole=whole,
        cautions=(*(("late_arrival",) if is_late else ()), *cautions, *(("some_not_expected",) if some else ())),
        advice=(
            *(CollectionAdvice(code, detail, finding.table_id) for finding in found for code, detail in finding.advice),
            *_bag_advice(boxes, currency),
        ),
    )


def box_to_settle(boxes: Sequence[BoxCount], whole: InAll) -> Box:
    """Return what a collection brought, as a settlement takes it."""
    return Box(
        counted=whole.counted,
        expected=whole.settling,
        refunds_by_venue=sum(box.refunds_by_venue for box in boxes),
        house_money=sum(box.house_money for box in boxes),
        test_money=sum(box.test_money for box in boxes),
    )


def revision(
    *, trading_on: date, settled_gross: int, settles_on: SettlesOn, counted: int, settling: Expected | None
) -> Claim | None:
    """Return the claim for a settled gross that would be another by the expectation as it is judged now (C9)."""
    near = counted if settling is None else settling.nearest(counted)
    gross = {"counted": counted, "expected": near, "higher": max(counted, near)}[settles_on]
    return Claim("expectation", settled_gross - gross, trading_on) if settled_gross != gross else None


def _bag_advice(boxes: Sequence[BoxCount], currency: str) -> list[CollectionAdvice]:
    mass_g = sum(coins_mass_g(currency, box.counts) for box in boxes)
    heavy = lifting_advice(mass_g) if mass_g else None
    return [CollectionAdvice("heavy_bag", heavy.detail, None)] if heavy else []
