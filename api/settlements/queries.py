"""Reads agreements and settlements, and loads the facts that a settlement is made from."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from sqlalchemy import bindparam, exists, text
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..ledger.service import loan_balance
from ..venues.rows import VenueRow
from ..venues.service import is_of_the_route, tax_area_on
from .agreement import SettlesOn
from .carried_forward import Claim
from .convert import compile_agreement, settled_of
from .opening_state import Settled, SettlingFacts, waiting_of
from .rows import CARRYING, AgreementRow, ReversalRow, SettlementRow


@dataclass(frozen=True, slots=True)
class OnExpectation:
    """A settlement that rested on an expectation: the collection, its trading date, and what was divided."""

    collection_id: UUID
    trading_on: date
    gross_minor: int
    settles_on: SettlesOn


_AGREEMENTS = (
    select(AgreementRow).where(AgreementRow.venue_id == bindparam("venue_id")).order_by(col(AgreementRow.version))
)


def agreements_of(session: Session, venue_id: UUID) -> Sequence[AgreementRow]:
    """Return all versions of a venue's agreement, in order."""
    return session.exec(_AGREEMENTS, params={"venue_id": venue_id}).all()


def load_settling(
    session: Session,
    venue: VenueRow,
    agreements: Sequence[AgreementRow],
    *,
    trading_on: date,
    corrects_id: UUID | None,
) -> SettlingFacts:
    """Load the facts that a settlement of a venue on a trading date is made from; ``agreements`` are those of the venue.

    The agreements of a venue end with its departure: after it no agreement is in force (A3).
    """
    replaced = None if corrects_id is None else _replaced(session, venue.id, corrects_id)
    in_currency = [row for row in agreements if row.currency == venue.currency]
    return SettlingFacts(
        versions=tuple(compile_agreement(row) for row in in_currency) if is_of_the_route(venue, trading_on) else (),
        tax_area=tax_area_on(session, venue.id, trading_on),
        settled=_settled(session, venue.id),
        replaced=None if replaced is None else settled_of(replaced),
        loan_minor=loan_balance(session, venue_id=venue.id, currency=venue.currency),
    )


def settlement_of(session: Session, collection_id: UUID) -> SettlementRow | None:
    """Return the settlement of a collection, if it has one."""
    return session.exec(select(SettlementRow).where(SettlementRow.collection_id == collection_id)).first()


def waiting_claims(
    session: Session, venue_id: UUID, *, until_on: date | None = None, revisions: Collection[Claim] = ()
) -> tuple[Claim, ...]:
    """Return the claims that wait for a venue's next settlement, after those on trading dates up to ``until_on`` (D2)."""
    rows = [row for row in _settled(session, venue_id) if until_on is None or row.trading_on <= until_on]
    known = [claim for claim in revisions if until_on is None or claim.due_on <= until_on]
    return waiting_of(rows, known)


def settled_on_expectation(session: Session, venue_id: UUID, agreements: Sequence[AgreementRow]) -> list[OnExpectation]:
    """Return the settlements of a venue that rested on an expectation and were not reversed, in order.

    ``agreements`` are those of the venue.
    """
    settles_on = {row.id: compile_agreement(row).settles_on for row in agreements}
    if not set(settles_on.values()) - {"counted"}:
        return []
    return [
        OnExpectation(row.collection_id, row.trading_on, row.gross_minor, settles_on[row.agreement_id])
        for row in _not_reversed(session, venue_id)
        if settles_on[row.agreement_id] != "counted"
    ]


_SETTLED = (
    select_columns(
        col(SettlementRow.trading_on),
        col(SettlementRow.carried_in),
        col(SettlementRow.carried_forward),
        col(SettlementRow.reckoned),
        col(SettlementRow.loan_before_minor),
    )
    .where(
        col(SettlementRow.venue_id) == bindparam("venue_id"),
        text(f"({CARRYING})"),
        ~exists().where(col(ReversalRow.collection_id) == col(SettlementRow.collection_id)),
    )
    .order_by(col(SettlementRow.sequence))
)


def _settled(session: Session, venue_id: UUID) -> tuple[Settled, ...]:
    """Return the settlements of a venue that the next goes on from: those with a claim or a reckoned period.

    The others, most of them under most agreements, change nothing that waits.
    """
    return tuple(settled_of(row) for row in session.connection().execute(_SETTLED, {"venue_id": venue_id}))


def _not_reversed(session: Session, venue_id: UUID) -> list[SettlementRow]:
    query = select(SettlementRow).where(
        SettlementRow.venue_id == venue_id,
        ~exists().where(col(ReversalRow.collection_id) == col(SettlementRow.collection_id)),
    )
    return list(session.exec(query.order_by(col(SettlementRow.sequence))).all())


def _replaced(session: Session, venue_id: UUID, corrects_id: UUID) -> SettlementRow | None:
    """Return the settlement whose place a correction takes, if nothing has changed there since.

    It has, where something was settled since the reversal, or something settled before was taken back since.
    """
    found = session.exec(
        select(SettlementRow, ReversalRow)
        .join(ReversalRow, col(ReversalRow.collection_id) == col(SettlementRow.collection_id))
        .where(SettlementRow.collection_id == corrects_id)
    ).first()
    if found is None:
        return None
    replaced, reversal = found
    settled_since = select(SettlementRow.id).where(
        SettlementRow.venue_id == venue_id, col(SettlementRow.sequence) > reversal.sequence
    )
    taken_back_since = (
        select(ReversalRow.id)
        .join(SettlementRow, col(SettlementRow.collection_id) == col(ReversalRow.collection_id))
        .where(ReversalRow.venue_id == venue_id, col(ReversalRow.sequence) > replaced.sequence)
        .where(col(SettlementRow.sequence) < replaced.sequence)
    )
    changed = any(session.exec(query.limit(1)).first() is not None for query in (settled_since, taken_back_since))
    return None if changed else replaced
