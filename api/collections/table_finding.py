"""One table of a collection: its expectation, its difference, its weighings, and what there is to say about them.

Gathers the reading before and what was sold, decides with ``expectation`` and ``coins``, and returns values.
"""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, select

from ..pool_tables.rows import PoolTableRow
from ..pricing import DomainError, format_money, parse_money
from ..venues.rows import VenueRow
from ..web.errors import refused
from .box_count import BoxCount
from .coins import WeightCheck, weigh
from .expected import Difference, difference
from .expected_cash import Expectation, Sold, TableCaution, expect
from .gathering import meters_of, reading_before, sold_between, stands, stay_of, stays_of
from .rows import CollectedTableRow, CollectionRow


@dataclass(frozen=True, slots=True)
class TableFinding:
    """What was found at one table."""

    table: PoolTableRow
    box: BoxCount
    since_at: datetime | None
    expectation: Expectation
    difference: Difference | None
    weighings: tuple[tuple[int, WeightCheck | None], ...]
    cautions: tuple[TableCaution, ...]
    advice: tuple[tuple[str, str], ...]


def find_at_table(session: Session, venue: VenueRow, box: BoxCount, *, at: datetime, where: str) -> TableFinding:
    """Return what was found at one table of a venue.

    Refuses a table that never was at the venue (``never_at_venue``), and what ``expect`` and ``weigh`` refuse.
    """
    table = session.get(PoolTableRow, UUID(box.table_id))
    stays = [] if table is None else stays_of(session, table.id)
    if table is None or venue.id not in {stay.venue_id for stay in stays}:
        expected = "a table that stands, or once stood, at the venue"
        raise refused("never_at_venue", where=f"{where}.table_id", found=box.table_id, expected=expected)
    before = reading_before(session, stays, table_id=table.id, at=at)
    since = before.since
    sold = Sold() if since is None else sold_between(session, table, stays, from_at=since.at, to_at=at)
    accepts = [parse_money(text, venue.currency) for text in table.profile["accepts"]]
    try:
        expectation = expect(
            box,
            meters_of(table, venue.currency),
            at=at,
            since=since,
            sold=sold,
            accepts=accepts,
            currency=venue.currency,
        )
    except DomainError as error:
        raise error.within(where) from None
    weighings = tuple(
        (value, weigh(venue.currency, value, count=box.counts.get(value, 0), weighed_g=grams))
        for value, grams in box.weighed_g.items()
    )
    foreign = [value for value, count in box.counts.items() if count and value not in accepts]
    off = [(value, check) for value, check in weighings if check is not None and not check.agrees]
    return TableFinding(
        table=table,
        box=box,
        since_at=None if since is None else since.at,
        expectation=expectation,
        difference=None if expectation.expected is None else difference(box.counted, expectation.expected),
        weighings=weighings,
        cautions=(
            *expectation.cautions,
            *(("not_there_then",) if stay_of(stays, at).venue_id != venue.id else ()),
            *(("started_afresh",) if before.afresh else ()),
            *(("box_travelled",) if before.travelled else ()),
            *(("same_time_as_another",) if _same_time(session, table.id, at) else ()),
            *(("denomination_not_taken",) if foreign else ()),
            *(("weight_differs",) if off else ()),
        ),
        advice=(
            *(_foreign_advice(value, venue.currency) for value in foreign),
            *(_weight_advice(value, check, box, venue.currency) for value, check in off),
            *_meter_advice(expectation, venue.currency),
        ),
    )


def _same_time(session: Session, table_id: UUID, at: datetime) -> bool:
    query = (
        select(CollectionRow.id)
        .join(CollectedTableRow, col(CollectedTableRow.collection_id) == col(CollectionRow.id))
        .where(CollectedTableRow.pool_table_id == table_id, CollectionRow.collected_at == at, stands())
    )
    return session.exec(query.limit(1)).first() is not None


def _foreign_advice(value: int, currency: str) -> tuple[str, str]:
    taken = format_money(value, currency)
    return "denomination_not_taken", f"{taken} was counted; the table does not take it. Is it the right box?"


def _weight_advice(value: int, check: WeightCheck, box: BoxCount, currency: str) -> tuple[str, str]:
    return (
        "weight_differs",
        f"{box.counts.get(value, 0)} of {format_money(value, currency)} were counted; by weight there are about "
        f"{check.count_by_weight} ({check.off_g:+} g). Weight is a check, not the count.",
    )


def _meter_advice(expectation: Expectation, currency: str) -> list[tuple[str, str]]:
    advice = [
        (
            "meter_needs_review",
            f"The meter {found.name} shows {found.value} after {found.before}: no takings are made of it. Was it read "
            "right, was it reset, was the board replaced?",
        )
        for found in expectation.meters
        if found.kind == "needs_review"
    ]
    if "meters_disagree" in expectation.cautions:
        stories = "; ".join(
            f"{found.name} says {format_money(found.story.least, currency)} to {format_money(found.story.most, currency)}"
            for found in expectation.meters
            if found.story is not None
        )
        advice.append(("meters_disagree", f"The meters cannot all be right: {stories}."))
    return advice
