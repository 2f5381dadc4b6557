"""The state that a settlement goes on from, and the settlement that follows from it.

- A settlement goes on from all settlements of the venue that were not reversed (D2). A correction goes on from where
  the reversed one began, as long as nothing else has changed since: later ones stay, and the change is a line of the
  next (C5).
- ``revisions`` are claims for what earlier settlements divided too much or too little, by their expectations as they
  are judged now (C9). They are the whole change each time: what a later settlement took of them is in its own change.
- The agreement and the tax rate are those of the trading date (D3; D, step 3). Without an agreement nothing is
  settled (C7).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from ..tax_areas.tax_area import TaxArea, TaxRate
from .agreement import Agreement, in_force
from .box_contents import Box
from .carried_forward import Claim, change, claims_waiting
from .first_money import Period, due, unreckoned
from .settlement import Settlement, check_settlement, settle


@dataclass(frozen=True, slots=True)
class OpeningState:
    """Claims carried in, the venue's loan in minor units, and the periods whose first money is still to be claimed."""

    carried_in: tuple[Claim, ...]
    loan_minor: int
    periods: tuple[Period, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """An earlier settlement of the venue, as far as the next goes on from it; ``loan_minor`` is the loan before it."""

    trading_on: date
    carried_in: tuple[Claim, ...]
    carried_forward: tuple[Claim, ...]
    loan_minor: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SettlingFacts:
    """The facts that a settlement is made from.

    ``carrying`` are the settlements of the venue with a claim, ``reckoned`` the periods that any of them claimed;
    ``replaced`` is the reversed settlement whose place this one takes.
    """

    versions: tuple[Agreement, ...]
    tax_area: TaxArea | None
    carrying: tuple[Settled, ...]
    reckoned: tuple[Period, ...]
    replaced: Settled | None
    loan_minor: int


@dataclass(frozen=True, slots=True)
class Division:
    """A settlement with the state that it goes on from and the tax that it took."""

    settlement: Settlement
    opening: OpeningState
    tax_area: TaxArea | None
    tax: TaxRate | None


def waiting_of(settled: Sequence[Settled], revisions: Sequence[Claim] = ()) -> tuple[Claim, ...]:
    """Return the claims that wait for a venue's next settlement, oldest first."""
    changes = [change(carried_in=row.carried_in, carried_forward=row.carried_forward) for row in settled]
    return claims_waiting((*changes, revisions))


def opening_state(facts: SettlingFacts, *, trading_on: date, revisions: Sequence[Claim] = ()) -> OpeningState:
    """Return the state that a settlement on a trading date goes on from."""
    periods = unreckoned(facts.reckoned, until_on=trading_on)
    if facts.replaced is not None:
        return OpeningState(facts.replaced.carried_in, facts.replaced.loan_minor, periods)
    return OpeningState(waiting_of(facts.carrying, revisions), facts.loan_minor, periods)


def divide(
    facts: SettlingFacts, box: Box, *, currency: str, trading_on: date, revisions: Sequence[Claim] = ()
) -> Division | None:
    """Settle what a collection brought under the agreement in force on its trading date; None without one (C7)."""
    agreement = in_force(facts.versions, on=trading_on)
    if agreement is None:
        return None
    tax = None if facts.tax_area is None else facts.tax_area.rate_on(trading_on)
    opening = opening_state(facts, trading_on=trading_on, revisions=revisions)
    settlement = settle(
        agreement,
        box,
        currency=currency,
        trading_on=trading_on,
        tax=tax,
        due=due(facts.versions, opening.periods, on=trading_on),
        carried_in=opening.carried_in,
        loan_balance=opening.loan_minor,
    )
    check_settlement(settlement)
    return Division(settlement, opening, facts.tax_area, tax)
