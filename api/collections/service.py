"""Collections: previewed, recorded, reversed, settled later; and their disputes.

- A preview and the collection itself are decided by the same code (C6); only the second is stored and posted.
- A collection is stored once by the sender's id (C5, R2): while one is recorded at a venue, others there wait.
- A correction takes the place of a reversed collection of the same venue, tables and time (C5).
- All that one request does is one transaction: nothing is half-posted.
- Locks, in this order: the tables, the accounts of the venue, a dispute, the counter ``cash``, the ledger, the feed.
  The venue's loan and what its settlements carry forward are read after the first two. A batch takes those of all its items first.
"""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, SQLModel, select

from ..ledger.service import columns_of, lock_accounts
from ..pool_tables.future_instants import must_have_come
from ..settlements.convert import settlement_row
from ..settlements.opening_state import divide
from ..settlements.queries import agreements_of, load_settling, settlement_of
from ..settlements.rows import ReversalRow
from ..settlements.service import save_reversal, save_settlement
from ..store.changes import note_tables
from ..store.clock import new_id
from ..store.db import lock, lock_each
from ..store.feeds import note_changes
from ..store.sequence import Recorded, next_number, next_numbers
from ..venues.service import get_venue
from ..web.batch import BatchResultsOut, Unreadable, readable, record_each
from ..web.errors import Problem, http_problem, not_found
from ..webhooks.event import Event
from ..webhooks.service import publish
from .box_count import CollectionCount, read_collection
from .collection_finding import CollectionDecision, CollectionFacts, CollectionFinding, box_to_settle, decide_collection
from .conflicts import conflicts
from .convert import CollectionDetails, box_of_row, collection_out, dispute_out, rows_of, stored_count
from .facts_digest import facts_digest
from .queries import (
    details_of,
    get_collection,
    judge_collections,
    last_digest,
    load_facts,
    read_collections,
    revisions,
    stored_collection,
    table_ids_of,
)
from .rows import CollectedTableRow, CollectionRow, DisputeAnswerRow, DisputeRow
from .schemas import CollectionIn, CollectionOut, DisputeAnswerIn, DisputeIn, DisputeOut

_NEW_COLLECTION = SQLModel.metadata.tables[CollectionRow.__tablename__].insert()
_NEW_TABLE = SQLModel.metadata.tables[CollectedTableRow.__tablename__].insert()


def preview_collection(
    session: Session, message: CollectionIn, *, now: datetime, by: str, person: str
) -> CollectionOut:
    """Answer as ``record_collection`` would, without an entry; store nothing."""
    venue = get_venue(session, message.venue_id)
    count = _read(message, venue.currency, now=now)
    stored = _sent_before(session, count)
    if stored is not None:
        return read_collections(session, [stored])[0]
    facts = load_facts(session, venue, count, agreements=agreements_of(session, venue.id))
    decided = decide_collection(count, facts)
    details = _rows(count, facts, decided, now=now, by=by, person=person)
    if decided.division is not None:
        details.settlement = settlement_row(
            decided.division, sequence=0, collection_id=count.id, venue_id=venue.id, entry_id=None, now=now
        )
    return collection_out(details, decided.finding)


def record_collections(
    session: Session, items: Sequence[CollectionIn | Unreadable], *, now: datetime, by: str, person: str
) -> BatchResultsOut:
    """Record a batch of collections, each on its own, the earliest first (O3)."""
    sent = readable(items)
    lock_each(session, (f"table:{table.table_id}" for message in sent for table in message.tables))
    for venue_id in sorted({message.venue_id for message in sent}):
        lock_accounts(session, venue_id)

    def record(message: CollectionIn) -> bool:
        _, made = _record(session, message, now=now, by=by, person=person)
        return made is not None

    return record_each(session, items, record, key=lambda message: message.collected_at)


def record_collection(
    session: Session, message: CollectionIn, *, now: datetime, by: str, person: str
) -> tuple[CollectionRow, CollectionOut | None]:
    """Store a collection, settle it where an agreement is in force, and post its entry.

    Returns the collection and its answer; no answer where the same collection was stored before.
    ``by`` is the name of the token, ``person`` whose token it is: the collector where the message names nobody. Refuses
    a collection in the future, a table that never was at the venue, an id sent before with other content
    (``same_id_other_content``), and what ``read_collection`` refuses; all else is kept and flagged.
    """
    row, made = _record(session, message, now=now, by=by, person=person)
    return row, None if made is None else collection_out(*made)


def _record(
    session: Session, message: CollectionIn, *, now: datetime, by: str, person: str
) -> tuple[CollectionRow, tuple[CollectionDetails, CollectionFinding] | None]:
    """Store a collection as ``record_collection`` does; return it and what was found of it, None if it was stored before."""
    venue = get_venue(session, message.venue_id)
    count = _read(message, venue.currency, now=now)
    lock_each(session, (f"table:{box.table_id}" for box in count.boxes))
    lock_accounts(session, venue.id)
    stored = _sent_before(session, count)
    if stored is not None:
        return stored, None
    agreements = agreements_of(session, venue.id)
    facts = load_facts(session, venue, count, agreements=agreements)

    decided = decide_collection(count, facts)

    numbers, recorded_at = next_numbers(session, "cash", 1 if decided.division is None else 2, now=now)
    details = _rows(count, facts, decided, now=recorded_at, by=by, person=person)
    details.row.sequence = numbers[0]
    details.row.facts_digest = facts_digest(
        columns_of(details.row), [columns_of(table) for table in details.tables], before=last_digest(session)
    )
    connection = session.connection()
    connection.execute(_NEW_COLLECTION, columns_of(details.row))
    connection.execute(_NEW_TABLE, [columns_of(table) for table in details.tables])
    if decided.division is not None:
        details.settlement = save_settlement(
            session,
            decided.division,
            agreements=agreements,
            recorded=Recorded(numbers[-1], recorded_at),
            collection_id=count.id,
            venue_id=venue.id,
            currency=venue.currency,
            reference=_reference(details.row),
            booked=_booked(details),
            now=now,
        )
    note_tables(session, [box.table_id for box in count.boxes])
    event = Event(type="collection.recorded", subject_id=count.id, venue_id=venue.id, at=recorded_at)
    publish(session, [event], now=now)
    note_changes(session, "collections", [count.id], now=now)
    return details.row, (details, decided.finding)


def reverse_collection(session: Session, collection_id: UUID, *, reason: str, now: datetime, by: str) -> CollectionOut:
    """Take a collection back: post the mirror image of its entry, and keep it as reversed (C5)."""
    row = _locked(session, collection_id)
    settlement = settlement_of(session, collection_id)
    save_reversal(
        session,
        settlement,
        collection_id=row.id,
        venue_id=row.venue_id,
        reason=reason,
        by=by,
        currency=row.currency,
        reference=_reference(row),
        now=now,
    )
    note_tables(session, table_ids_of(session, collection_id))
    note_changes(session, "collections", [collection_id], now=now)
    return read_collections(session, [row])[0]


def settle_collection(session: Session, collection_id: UUID, *, now: datetime) -> CollectionOut:
    """Settle a collection that was recorded without an agreement (C7), by the agreement now in force on its date."""
    row = _locked(session, collection_id)
    if settlement_of(session, collection_id) is not None:
        raise Problem("already_settled")
    venue = get_venue(session, row.venue_id)
    (details,) = details_of(session, [row])
    finding = judge_collections(session, [details])[row.id]
    agreements = agreements_of(session, venue.id)
    facts = load_settling(session, venue, agreements, trading_on=row.trading_on, corrects_id=row.corrects_id)

    division = divide(
        facts,
        box_to_settle([box_of_row(table) for table in details.tables], finding.whole),
        currency=row.currency,
        trading_on=row.trading_on,
        revisions=revisions(session, venue.id, agreements),
    )
    if division is None:
        raise http_problem(
            "no_agreement", where="collected_at", found=row.trading_on, expected="a trading date with an agreement"
        )

    details.settlement = save_settlement(
        session,
        division,
        agreements=agreements,
        recorded=next_number(session, "cash", now=now),
        collection_id=row.id,
        venue_id=row.venue_id,
        currency=row.currency,
        reference=_reference(row),
        booked=_booked(details),
        now=now,
    )
    note_changes(session, "collections", [row.id], now=now)
    return collection_out(details, finding)


def raise_dispute(session: Session, collection_id: UUID, message: DisputeIn, *, now: datetime) -> DisputeOut:
    """Record a dispute of a collection, whether that is settled, unsettled or reversed."""
    recorded = next_number(session, "disputes", now=now)
    row = DisputeRow(
        id=new_id(),
        sequence=recorded.number,
        collection_id=get_collection(session, collection_id).id,
        raised_by=message.by,
        claims=message.claims,
        reason=message.reason,
        raised_at=recorded.at,
    )
    session.add(row)
    session.flush()
    note_tables(session, table_ids_of(session, collection_id))
    note_changes(session, "collections", [collection_id], now=now)
    return dispute_out(row, None)


def answer_dispute(
    session: Session, collection_id: UUID, dispute_id: UUID, message: DisputeAnswerIn, *, now: datetime
) -> DisputeOut:
    """Answer a dispute, which closes it; refuse a second answer (``already_answered``)."""
    lock(session, f"dispute:{dispute_id}")
    row = session.get(DisputeRow, dispute_id)
    if row is None or row.collection_id != collection_id:
        raise not_found("dispute")
    if session.get(DisputeAnswerRow, dispute_id) is not None:
        raise Problem("already_answered")
    answered_at = next_number(session, "answers", now=now).at
    answer = DisputeAnswerRow(dispute_id=row.id, answered_by=message.by, answer=message.answer, answered_at=answered_at)
    session.add(answer)
    session.flush()
    note_tables(session, table_ids_of(session, collection_id))
    note_changes(session, "collections", [collection_id], now=now)
    return dispute_out(row, answer)


def _read(message: CollectionIn, currency: str, *, now: datetime) -> CollectionCount:
    """Return the count of a message; refuse a collection in the future."""
    must_have_come(message.collected_at, now=now, where="collected_at")
    return read_collection(message.model_dump(), currency)


def _sent_before(session: Session, count: CollectionCount) -> CollectionRow | None:
    """Return the collection of this id if it says the same; refuse, naming what differs, if it says something else."""
    row = stored_collection(session, count.id)
    if row is None:
        return None
    (details,) = details_of(session, [row])
    differing = conflicts(stored=stored_count(row, details.tables), sent=count)
    if differing:
        raise Problem("same_id_other_content", errors=differing[:20])
    return row


def _rows(
    count: CollectionCount, facts: CollectionFacts, decided: CollectionDecision, *, now: datetime, by: str, person: str
) -> CollectionDetails:
    return rows_of(
        count,
        decided.finding,
        record_id=new_id(),
        trading_on=facts.trading_on,
        now=now,
        recorded_by=by,
        collector=count.collector or person,
        corrects_id=facts.corrects_id,
        is_late=facts.is_late,
    )


def _booked(details: CollectionDetails) -> dict[str, Sequence[SQLModel]]:
    """Return the rows whose digest the entry of a collection carries, with those of its settlement."""
    return {"collection": [details.row], "collected_table": details.tables}


def _reference(row: CollectionRow) -> str:
    """Return the words of a collection's entries."""
    return f"Collection of {row.trading_on}{f', bag {row.bag}' if row.bag else ''}"


def _locked(session: Session, collection_id: UUID) -> CollectionRow:
    """Return a collection that nobody else changes meanwhile; refuse one that was reversed."""
    row = get_collection(session, collection_id)
    lock_accounts(session, row.venue_id)
    if session.exec(select(ReversalRow.id).where(ReversalRow.collection_id == collection_id)).first() is not None:
        raise Problem("already_reversed")
    return row
