"""Agreements and settlements as sent and received."""

from typing import Annotated

from pydantic import MISSING, StrictInt
from pydantic import Field as Limits

from ..web.schema_types import Date, Id, In, Instant, Money, MoneyOut, Name, Out, PageOf, Percent, Yes
from .agreement import CapAfter, FirstMoneyPer, MinimumKind, Party, Pays, SettlesOn, ShareTierMode
from .carried_forward import WhoGets

ContractWeek = Annotated[StrictInt, Limits(ge=1, le=5_000)]


class AgreementStepIn(In):
    """The venue's percentage from a contract week on."""

    from_week: Annotated[
        ContractWeek, Limits(description="Contract week; 1 is the first. The first step begins in week 1.")
    ]
    venue_percent: Annotated[Percent, Limits(description="The venue's share of what is split, such as 50.")]


class AmountTierIn(In):
    """The venue's percentage from an amount on."""

    from_: Annotated[
        Money, Limits(alias="from", description="From this amount of one collection on; the first tier from 0.")
    ]
    venue_percent: Annotated[Percent, Limits(description="The venue's share of what is split, such as 50.")]


class AmountTiersIn(In):
    """``marginal``: each tier's percentage for the money inside it; ``whole``: the highest tier reached, for all of it."""

    mode: Annotated[ShareTierMode, Limits(description="Whether a tier's percentage is for its own money or for all.")]
    tiers: Annotated[list[AmountTierIn], Limits(min_length=1, max_length=100, description="Tiers, lowest first.")]


class FirstMoneyIn(In):
    """A reimbursement or service charge that the operator takes first, whole when it falls due, or spread by days."""

    name: Annotated[Name, Limits(description="A name of its own, such as Licence: amounts are carried forward by it.")]
    amount: Annotated[Money, Limits(description="The amount for each period, in the venue's currency.")]
    per: Annotated[FirstMoneyPer, Limits(description="How often it falls due.")]
    starts_on: Annotated[Date, Limits(description="First day of the first period.")]
    spread: Annotated[Yes | MISSING, Limits(description="Claim it in equal parts by days; without it, whole.")] = (
        MISSING
    )


class OperatorMinimumIn(In):
    """The operator's minimum of each collection: as front money, or as a guarantee of the operator's share."""

    amount: Annotated[Money, Limits(description="The minimum of each collection.")]
    kind: Annotated[MinimumKind, Limits(description="front: before the split; guarantee: a floor of the share.")]


class CapIn(In):
    """A legal cap on the venue's share, by its own name: going over it brings advice."""

    name: Annotated[Name, Limits(description="The cap's own name, such as the statute's.")]
    venue_percent_max: Annotated[Percent, Limits(description="The most that the venue may have, in per cent.")]
    after: Annotated[CapAfter | MISSING, Limits(description="The step whose rest it is a share of; first_money.")] = (
        MISSING
    )


class AgreementIn(In):
    """An agreement to publish: one of ``venue_percent``, ``steps`` and ``amount_tiers``; the rest may be absent."""

    effective_on: Annotated[Date, Limits(description="Trading date from which it is in force; contract week 1 begins.")]
    venue_percent: Annotated[Percent | MISSING, Limits(description="The venue's share, the same at all times.")] = (
        MISSING
    )
    steps: Annotated[
        Annotated[list[AgreementStepIn], Limits(min_length=1, max_length=100)] | MISSING,
        Limits(description="The venue's share by contract week."),
    ] = MISSING
    amount_tiers: Annotated[AmountTiersIn | MISSING, Limits(description="The venue's share by amount.")] = MISSING
    first_money: Annotated[
        Annotated[list[FirstMoneyIn], Limits(max_length=100)] | MISSING,
        Limits(description="Amounts that the operator takes before the split."),
    ] = MISSING
    operator_minimum: Annotated[
        OperatorMinimumIn | MISSING, Limits(description="The least that the operator has of each collection.")
    ] = MISSING
    settles_on: Annotated[
        SettlesOn | MISSING, Limits(description="What is divided: the count (without it), the expectation, the higher.")
    ] = MISSING
    pays: Annotated[
        Pays | MISSING, Limits(description="When the venue gets its share: at the visit (without it) or monthly.")
    ] = MISSING
    odd_unit_to: Annotated[
        Party | MISSING, Limits(description="Who gets the odd minor unit of a tie; without it, the operator.")
    ] = MISSING
    loan_repay_percent: Annotated[
        Percent | MISSING, Limits(description="Part of the venue's share that repays its loan; without it, 0.")
    ] = MISSING
    cap: Annotated[CapIn | MISSING, Limits(description="A legal cap on the venue's share: advice, never a limit.")] = (
        MISSING
    )


class AgreementStepOut(Out):
    """The venue's percentage from a contract week on."""

    from_week: int
    venue_percent: str


class AmountTierOut(Out):
    """The venue's percentage from an amount on."""

    from_: Annotated[MoneyOut, Limits(alias="from")]
    venue_percent: str


class AmountTiersOut(Out):
    """The venue's percentage by amount."""

    mode: ShareTierMode
    tiers: list[AmountTierOut]


class FirstMoneyOut(Out):
    """What the operator takes first."""

    name: str
    amount: MoneyOut
    per: FirstMoneyPer
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
    """One line of a settlement: ``amount`` for ``to``, computed from ``basis``. All but the first add up to the first."""

    code: str
    what: str
    to: WhoGets
    basis: MoneyOut
    amount: MoneyOut


class ClaimOut(Out):
    """A claim that waits for the next settlement; below zero where too much was taken."""

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
