"""Reads agreements and settlements, and loads the facts that a settlement is made from."""

import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Text, bindparam, cast, exists, text
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..ledger.service import loan_balance
from ..venues.rows import VenueRow
from ..venues.service import is_of_the_route, tax_area_on
from .agreement import SettlesOn
from .carried_forward import Claim
from .convert import compile_agreement, read_periods, settled_of
from .first_money import Period
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
    carrying, reckoned = _settled(session, venue.id)
    return SettlingFacts(
        versions=tuple(compile_agreement(row) for row in in_currency) if is_of_the_route(venue, trading_on) else (),
        tax_area=tax_area_on(session, venue.id, trading_on),
        carrying=carrying,
        reckoned=reckoned,
        replaced=None if replaced is None else _replaced_state(replaced),
        loan_minor=loan_balance(session, venue_id=venue.id, currency=venue.currency),
    )


def settlement_of(session: Session, collection_id: UUID) -> SettlementRow | None:
    """Return the settlement of a collection, if it has one."""
    return session.exec(select(SettlementRow).where(SettlementRow.collection_id == collection_id)).first()


def waiting_claims(
    session: Session, venue_id: UUID, *, until_on: date | None = None, revisions: Collection[Claim] = ()
) -> tuple[Claim, ...]:
    """Return the claims that wait for a venue's next settlement, after those on trading dates up to ``until_on`` (D2)."""
    rows = [row for row in _settled(session, venue_id)[0] if until_on is None or row.trading_on <= until_on]
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


def _as_text(column: Any) -> ColumnElement[str]:
    return cast(column, Text).label(column.key)


_SETTLED = (
    select_columns(
        col(SettlementRow.trading_on),
        col(SettlementRow.loan_before_minor),
        _as_text(SettlementRow.carried_in),
        _as_text(SettlementRow.carried_forward),
        _as_text(SettlementRow.reckoned),
    )
    .where(
        col(SettlementRow.venue_id) == bindparam("venue_id"),
        text(f"({CARRYING})"),
        ~exists().where(col(ReversalRow.collection_id) == col(SettlementRow.collection_id)),
    )
    .order_by(col(SettlementRow.sequence))
)
_NONE = "[]"


def _settled(session: Session, venue_id: UUID) -> tuple[tuple[Settled, ...], tuple[Period, ...]]:
    """Return the settlements of a venue that have a claim, and the periods that any settlement reckoned.

    Nearly all reckon a period and few have a claim: the periods of all are read as one list.
    """
    rows = session.connection().execute(_SETTLED, {"venue_id": venue_id}).all()
    carrying = tuple(
        settled_of(row, carried_in=json.loads(row.carried_in), carried_forward=json.loads(row.carried_forward))
        for row in rows
        if row.carried_in != _NONE or row.carried_forward != _NONE
    )
    reckoned = ",".join(row.reckoned[1:-1] for row in rows if row.reckoned != _NONE)
    return carrying, read_periods(json.loads(f"[{reckoned}]"))


def _not_reversed(session: Session, venue_id: UUID) -> list[SettlementRow]:
    query = select(SettlementRow).where(
        SettlementRow.venue_id == venue_id,
        ~exists().where(col(ReversalRow.collection_id) == col(SettlementRow.collection_id)),
    )
    return list(session.exec(query.order_by(col(SettlementRow.sequence))).all())


def _replaced_state(row: SettlementRow) -> Settled:
    return settled_of(row, carried_in=row.carried_in, carried_forward=row.carried_forward)


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
