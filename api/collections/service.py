"""Collections in the database: previewed, recorded, listed, reversed, settled later, disputed and answered.

- A preview and the collection itself are drafted by the same code (C6); only the second is stored and posted.
- A collection is stored once by the sender's id (C5, R2): while one is recorded at a venue, others there wait.
- A correction takes the place of a reversed collection of the same venue, tables and time (C5).
- All that one request does is one transaction: nothing is half-posted.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, or_, select

from ..settlements.expected import Expected
from ..settlements.rows import ReversalRow, SettlementRow
from ..settlements.settling import box_of, divide, post, post_reversal
from ..store.clock import FUTURE_ALLOWED, new_id
from ..store.db import hold
from ..venues.rows import VenueRow
from ..venues.service import calendar_of, get_venue
from ..web.errors import Problem, not_found, refused
from ..web.pagination import Page, page
from .box_count import BoxCount, normal_form, read_boxes, what_differs
from .coins import coins_mass_g, lifting_advice
from .convert import Around, collection_out, table_out
from .expected import InAll, in_all
from .gathering import stands
from .queries import collections_out
from .rows import CollectedTableRow, CollectionRow
from .schemas import CollectionIn, CollectionOut
from .table_finding import TableFinding, find_at_table


@dataclass(frozen=True, slots=True)
class Draft:
    """A collection as it would be stored: its row and its tables' rows, none of them stored yet."""

    collection: CollectionRow
    tables: list[CollectedTableRow]


def preview_collection(session: Session, message: CollectionIn, *, now: datetime, by: str) -> CollectionOut:
    """Answer as ``record_collection`` would, without an entry; store nothing."""
    venue = get_venue(session, message.venue_id)
    stored = _sent_before(session, message, venue)
    if stored is not None:
        return collections_out(session, [stored])[0]
    draft = _draft(session, message, venue, now=now, by=by)
    divided = divide(session, venue, draft.collection, now=now)
    return collection_out(draft.collection, Around(draft.tables, None if divided is None else divided.row))


def record_collection(session: Session, message: CollectionIn, *, now: datetime, by: str) -> CollectionOut:
    """Store a collection, settle it where an agreement is in force, and post its entry.

    Refuses a collection in the future, a table that never was at the venue, an id sent before with other content
    (``same_id_other_content``), and what ``read_boxes`` and ``expect`` refuse; all else is kept and flagged.
    """
    venue = get_venue(session, message.venue_id)
    stored = _sent_before(session, message, venue)
    if stored is None:
        _hold(session, venue.id)
        stored = _sent_before(session, message, venue)  # whoever held the venue may have stored it meanwhile
    if stored is not None:
        return collections_out(session, [stored])[0]
    draft = _draft(session, message, venue, now=now, by=by)
    divided = divide(session, venue, draft.collection, now=now)
    session.add(draft.collection)
    session.flush()
    session.add_all(draft.tables)
    session.flush()
    settlement = None if divided is None else post(session, draft.collection, divided, now=now)
    return collection_out(draft.collection, Around(draft.tables, settlement))


def get_collection(session: Session, collection_id: UUID) -> CollectionRow:
    """Return a collection; ``not_found`` where there is none."""
    row = session.get(CollectionRow, collection_id)
    if row is None:
        raise not_found("collection")
    return row


def page_collections(
    session: Session, *, venue_id: UUID | None, table_id: UUID | None, limit: int, after: UUID | None
) -> Page[CollectionRow]:
    """Return collections, of a venue or with a table, in the order in which they were recorded."""
    query = select(CollectionRow)
    if venue_id is not None:
        query = query.where(CollectionRow.venue_id == venue_id)
    if table_id is not None:
        with_table = select(CollectedTableRow.collection_id).where(CollectedTableRow.pool_table_id == table_id)
        query = query.where(col(CollectionRow.id).in_(with_table))
    return page(session, query, key=col(CollectionRow.record_id), limit=limit, after=after)


def reverse_collection(session: Session, collection_id: UUID, *, reason: str, now: datetime, by: str) -> CollectionOut:
    """Take a collection back: post the mirror image of its entry, and leave it standing as reversed (C5)."""
    row = _held(session, collection_id)
    settlement = _settlement(session, collection_id)
    entry_id = post_reversal(session, row, None if settlement is None else settlement.entry_id, now=now)
    reversal = ReversalRow(
        id=new_id(),
        collection_id=row.id,
        venue_id=row.venue_id,
        reason=reason,
        reversed_at=now,
        reversed_by=by,
        entry_id=entry_id,
    )
    session.add(reversal)
    session.flush()
    return collections_out(session, [row])[0]


def settle_collection(session: Session, collection_id: UUID, *, now: datetime) -> CollectionOut:
    """Settle a collection that was recorded without an agreement (C7), by the agreement that now holds on its date."""
    row = _held(session, collection_id)
    if _settlement(session, collection_id) is not None:
        raise Problem("already_settled")
    divided = divide(session, get_venue(session, row.venue_id), row, now=now)
    if divided is None:
        raise refused(
            "no_agreement", where="collected_at", found=row.trading_on, expected="a trading date with an agreement"
        )
    post(session, row, divided, now=now)
    return collections_out(session, [row])[0]


def _hold(session: Session, venue_id: UUID) -> None:
    hold(session, f"cash:{venue_id}")


def _held(session: Session, collection_id: UUID) -> CollectionRow:
    """Return a collection that nobody else changes meanwhile; refuse one that was reversed."""
    row = get_collection(session, collection_id)
    _hold(session, row.venue_id)
    if session.exec(select(ReversalRow.id).where(ReversalRow.collection_id == collection_id)).first() is not None:
        raise Problem("already_reversed")
    return row


def _settlement(session: Session, collection_id: UUID) -> SettlementRow | None:
    return session.exec(select(SettlementRow).where(SettlementRow.collection_id == collection_id)).first()


def _sent_before(session: Session, message: CollectionIn, venue: VenueRow) -> CollectionRow | None:
    """Return the collection of this id if it says the same; refuse, naming what differs, if it says something else."""
    row = session.get(CollectionRow, message.id)
    if row is None:
        return None
    body = message.model_dump()
    content = normal_form(body, read_boxes(body, venue.currency), venue.currency)
    differing = list(what_differs(row.content, content))[:20]
    if differing:
        raise Problem("same_id_other_content", errors=differing)
    return row


def _draft(session: Session, message: CollectionIn, venue: VenueRow, *, now: datetime, by: str) -> Draft:
    """Find out all there is to say about a collection, and make its rows of it."""
    if message.collected_at > now + FUTURE_ALLOWED:
        found = message.collected_at.isoformat()
        raise refused("invalid", where="collected_at", found=found, expected="an instant that has come")
    body = message.model_dump()
    boxes = read_boxes(body, venue.currency)
    found_at = [
        find_at_table(session, venue, box, at=message.collected_at, where=f"tables[{i}]") for i, box in enumerate(boxes)
    ]
    whole = in_all([(finding.box.counted, finding.expectation.expected) for finding in found_at])
    content = normal_form(body, boxes, venue.currency)
    replaced = _reversed_in_this_place(session, message, {finding.table.id for finding in found_at})
    collection = CollectionRow(
        id=message.id,
        record_id=new_id(),
        venue_id=venue.id,
        currency=venue.currency,
        collected_at=message.collected_at,
        trading_on=calendar_of(venue).trading_day(message.collected_at),
        received_at=now,
        recorded_by=by,
        collector=content["collector"] or by,
        corrects_id=replaced,
        content=content,
        **_sums(whole, boxes),
        cautions=_cautions(session, message, found_at, corrects=replaced is not None),
        advice=_advice(found_at, boxes, venue.currency),
    )
    box_of(collection)
    return Draft(collection, [_table_row(collection, i, finding) for i, finding in enumerate(found_at)])


def _sums(whole: InAll, boxes: tuple[BoxCount, ...]) -> dict[str, Any]:
    """Return the sums of a collection as the columns of its row."""
    least, most = _ends(whole.expected)
    settling_least, settling_most = _ends(whole.settling)
    return {
        "counted_minor": whole.counted,
        "expected_least_minor": least,
        "expected_most_minor": most,
        "difference_minor": None if whole.difference is None else whole.difference.amount,
        "settling_least_minor": settling_least,
        "settling_most_minor": settling_most,
        "refunds_by_venue_minor": sum(box.refunds_by_venue for box in boxes),
        "house_money_minor": sum(box.house_money for box in boxes),
        "test_money_minor": sum(box.test_money for box in boxes),
    }


def _ends(expected: Expected | None) -> tuple[int | None, int | None]:
    return (None, None) if expected is None else (expected.least, expected.most)


def _table_row(collection: CollectionRow, place: int, finding: TableFinding) -> CollectedTableRow:
    least, most = _ends(finding.expectation.expected)
    return CollectedTableRow(
        collection_id=collection.id,
        pool_table_id=finding.table.id,
        place=place,
        meters=dict(finding.box.meters),
        counted_minor=finding.box.counted,
        expected_least_minor=least,
        expected_most_minor=most,
        is_figure=finding.expectation.is_figure,
        told=table_out(finding, collection.currency).model_dump(mode="json"),
    )


def _reversed_in_this_place(session: Session, message: CollectionIn, tables: set[UUID]) -> UUID | None:
    """Return the reversed collection of this venue, time and tables that nothing has taken the place of yet."""
    taken = select(CollectionRow.corrects_id).where(col(CollectionRow.corrects_id).is_not(None))
    query = select(CollectionRow.id).where(
        CollectionRow.venue_id == message.venue_id,
        CollectionRow.collected_at == message.collected_at,
        col(CollectionRow.id).in_(select(ReversalRow.collection_id)),
        col(CollectionRow.id).not_in(taken),
    )
    for id_ in session.exec(query.order_by(col(CollectionRow.record_id).desc())).all():
        found = select(CollectedTableRow.pool_table_id).where(CollectedTableRow.collection_id == id_)
        if set(session.exec(found).all()) == tables:
            return id_
    return None


def _cautions(session: Session, message: CollectionIn, found_at: list[TableFinding], *, corrects: bool) -> list[str]:
    """Return every caution of the tables once, and whether the collection came after a later one (C5)."""
    cautions: list[str] = list(dict.fromkeys(caution for finding in found_at for caution in finding.cautions))
    ids = [finding.table.id for finding in found_at]
    of_tables = select(CollectedTableRow.collection_id).where(col(CollectedTableRow.pool_table_id).in_(ids))
    later = select(CollectionRow.id).where(
        col(CollectionRow.collected_at) > message.collected_at,
        or_(col(CollectionRow.venue_id) == message.venue_id, col(CollectionRow.id).in_(of_tables)),
        stands(),
    )
    if not corrects and session.exec(later.limit(1)).first() is not None:
        cautions.insert(0, "late_arrival")
    return cautions


def _advice(found_at: list[TableFinding], boxes: tuple[BoxCount, ...], currency: str) -> list[dict[str, str | None]]:
    advice: list[dict[str, str | None]] = [
        {"code": code, "detail": detail, "table_id": str(finding.table.id)}
        for finding in found_at
        for code, detail in finding.advice
    ]
    mass_g = sum(coins_mass_g(currency, box.counts) for box in boxes)
    heavy = lifting_advice(mass_g) if mass_g else None
    return [*advice, *([{"code": "heavy_bag", "detail": heavy.detail, "table_id": None}] if heavy else [])]
