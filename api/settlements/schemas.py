"""Agreements and settlements as sent and received."""

from typing import Annotated, Literal

from pydantic import MISSING, StrictInt
from pydantic import Field as Limits

from ..web.schema_types import Date, Id, In, Instant, Money, MoneyOut, Name, Out, PageOf, Percent, Yes
from .agreement import CapAfter, MinimumKind, Party, Pays, Per, SettlesOn, TierMode

Week = Annotated[StrictInt, Limits(ge=1, le=5_000)]


class AgreementStepIn(In):
    """From a contract week on, the venue has so many per cent."""

    from_week: Week
    venue_percent: Percent


class AmountTierIn(In):
    """From an amount on, the venue has so many per cent."""

    from_: Annotated[Money, Limits(alias="from")]
    venue_percent: Percent


class AmountTiersIn(In):
    """``marginal``: each tier's percentage for the money inside it; ``whole``: the highest tier reached, for all of it."""

    mode: TierMode
    tiers: Annotated[list[AmountTierIn], Limits(min_length=1, max_length=100)]


class FirstMoneyIn(In):
    """A reimbursement or service charge that the operator takes first, whole when it falls due, or spread by days."""

    name: Name
    amount: Money
    per: Per
    starts_on: Date
    spread: Yes | MISSING = MISSING


class OperatorMinimumIn(In):
    """The operator's minimum of each collection: as front money, or as a guarantee of his share."""

    amount: Money
    kind: MinimumKind


class CapIn(In):
    """A legal cap on the venue's share, by its own name: going over it brings advice."""

    name: Name
    venue_percent_max: Percent
    after: CapAfter | MISSING = MISSING


class AgreementIn(In):
    """An agreement to publish: one of ``venue_percent``, ``steps`` and ``amount_tiers``; the rest may be absent."""

    effective_on: Date
    venue_percent: Percent | MISSING = MISSING
    steps: Annotated[list[AgreementStepIn], Limits(min_length=1, max_length=100)] | MISSING = MISSING
    amount_tiers: AmountTiersIn | MISSING = MISSING
    first_money: Annotated[list[FirstMoneyIn], Limits(max_length=100)] | MISSING = MISSING
    operator_minimum: OperatorMinimumIn | MISSING = MISSING
    settles_on: SettlesOn | MISSING = MISSING
    pays: Pays | MISSING = MISSING
    odd_unit_to: Party | MISSING = MISSING
    loan_repay_percent: Percent | MISSING = MISSING
    cap: CapIn | MISSING = MISSING


class AgreementStepOut(Out):
    """From a contract week on, the venue has so many per cent."""

    from_week: int
    venue_percent: str


class AmountTierOut(Out):
    """From an amount on, the venue has so many per cent."""

    from_: Annotated[MoneyOut, Limits(alias="from")]
    venue_percent: str


class AmountTiersOut(Out):
    """The venue's percentage by amount."""

    mode: TierMode
    tiers: list[AmountTierOut]


class FirstMoneyOut(Out):
    """What the operator takes first."""

    name: str
    amount: MoneyOut
    per: Per
    starts_on: Date
    spread: bool


class OperatorMinimumOut(Out):
    """The operator's minimum of each collection."""

    amount: MoneyOut
    kind: MinimumKind


class CapOut(Out):
    """A legal cap on the venue's share."""

    name: str
    venue_percent_max: str
    after: CapAfter


class AgreementOut(Out):
    """A published version of a venue's agreement."""

    id: Id
    venue_id: Id
    version: int
    published_at: Instant
    currency: str
    effective_on: Date
    venue_percent: str | None
    steps: list[AgreementStepOut]
    amount_tiers: AmountTiersOut | None
    first_money: list[FirstMoneyOut]
    operator_minimum: OperatorMinimumOut | None
    settles_on: SettlesOn
    pays: Pays
    odd_unit_to: Party
    loan_repay_percent: str
    cap: CapOut | None
    notice: str


class SettlementLineOut(Out):
    """One line of a settlement: ``amount`` for ``to``, reckoned from ``basis``. All but the first add up to the first."""

    code: str
    what: str
    to: Literal["operator", "venue", "tax_office", "all"]
    basis: MoneyOut
    amount: MoneyOut


class ClaimOut(Out):
    """What could not be taken and waits for the next settlement; below zero where too much was taken."""

    code: str
    name: str
    due_on: Date
    amount: MoneyOut


class SettlementOut(Out):
    """How a collection was divided. ``carried_forward`` is the sum of ``claims_carried``."""

    lines: list[SettlementLineOut]
    agreement_id: Id
    agreement_version: int
    settled_at: Instant
    tax: MoneyOut
    tax_area: str | None
    venue_share: MoneyOut
    operator_share: MoneyOut
    loan_repaid: MoneyOut
    to_venue_now: MoneyOut
    to_venue_balance: MoneyOut
    to_bag: MoneyOut
    carried_forward: MoneyOut
    claims_carried: list[ClaimOut]
    notice: str


class AgreementPage(PageOf[AgreementOut]):
    """A page of agreements."""
