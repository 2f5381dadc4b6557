"""Messages of cash: agreements, collections and settlements, disputes, and the reports on them."""

from typing import Annotated, Literal

from pydantic import MISSING, StrictInt
from pydantic import Field as Limits

from api.cash.agreement import CapAfter, MinimumKind, Party, Pays, Per, SettlesOn, TierMode
from api.wire import Count, Currency, Date, Id, In, Instant, Money, MoneyOut, Name, Out, Percent, Text, Yes

Status = Literal["settled", "unsettled", "reversed"]
Said = Annotated[Text, Limits(min_length=1)]
Week = Annotated[StrictInt, Limits(ge=1, le=5_000)]
Pieces = Annotated[StrictInt, Limits(ge=0, le=10_000_000)]
Denomination = Annotated[str, Limits(pattern=r"^[0-9]{1,12}(\.[0-9]{1,4})?$", description="A coin's or note's value.")]
Grams = Annotated[str, Limits(pattern=r"^[0-9]{1,7}(\.[0-9]{1,3})?$", description="Grams.")]
MeterName = Annotated[str, Limits(pattern=r"^[a-z][a-z0-9_]{0,39}$")]


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


class OtherIn(In):
    """What else was in the box: foreign coins, tokens, a note nobody takes."""

    what: Name
    count: Pieces


class CollectedTableIn(In):
    """What was found in one table's box, and read off its meters before it was emptied."""

    table_id: Id
    counted: Annotated[dict[Denomination, Pieces], Limits(max_length=60, description="How many of each value.")]
    meters: Annotated[dict[MeterName, Count], Limits(max_length=20)] | MISSING = MISSING
    weighed_g: Annotated[dict[Denomination, Grams], Limits(max_length=60)] | MISSING = MISSING
    other: Annotated[list[OtherIn], Limits(max_length=60)] | MISSING = MISSING
    refunds_from_box: Money | MISSING = MISSING
    refunds_by_venue: Money | MISSING = MISSING
    test_games: Annotated[StrictInt, Limits(ge=0, le=100_000)] | MISSING = MISSING
    test_money: Money | MISSING = MISSING
    house_money: Money | MISSING = MISSING


class CollectionIn(In):
    """A collection, by the sender's own id: sent again with the same content it is answered as before."""

    id: Id
    venue_id: Id
    collected_at: Instant
    collector: Name | MISSING = MISSING
    witness: Name | MISSING = MISSING
    bag: Name | MISSING = MISSING
    seal: Name | MISSING = MISSING
    tables: Annotated[list[CollectedTableIn], Limits(min_length=1, max_length=200)]


class RangeOut(Out):
    """From least to most; a figure is a range of one."""

    least: MoneyOut
    most: MoneyOut


class MeterFindingOut(Out):
    """What one meter says was paid in since the reading before, before refunds; null where nobody can say."""

    name: str
    counts: Literal["money", "games", "minutes", "unknown"]
    before: int | None
    now: int
    kind: Literal["baseline", "counted", "rolled_over", "needs_review"]
    delta: int | None
    says: RangeOut | None


class WeightOut(Out):
    """A weighing as a check of a count; null where no mass is on record."""

    denomination: MoneyOut
    count: int
    weighed_g: str
    expected_g: str | None
    off_g: str | None
    count_by_weight: int | None
    agrees: bool | None


class OtherOut(Out):
    """What else was in the box."""

    what: str
    count: int


class CollectedTableOut(Out):
    """One table of a collection; ``since`` is the reading that its meters go on from."""

    table_id: Id
    label: str
    since: Instant | None
    counts: dict[str, int]
    counted: MoneyOut
    expected: RangeOut | None
    difference: MoneyOut | None
    difference_percent: str | None
    meters: list[MeterFindingOut]
    weights: list[WeightOut]
    other: list[OtherOut]
    refunds_from_box: MoneyOut
    refunds_by_venue: MoneyOut
    test_games: int
    test_money: MoneyOut
    house_money: MoneyOut
    cautions: list[str]


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


class CashAdviceOut(Out):
    """Something worth knowing about a collection, of one of its tables or of all of it; never a refusal."""

    code: str
    detail: str
    table_id: Id | None


class ReversalOut(Out):
    """Why a collection was taken back, by whom, and the ledger's entry that takes it back."""

    reason: str
    reversed_at: Instant
    reversed_by: str
    entry_id: Id | None


class DisputeOut(Out):
    """A dispute, and its answer (null: it is open)."""

    id: Id
    by: str
    claims: str
    reason: str
    raised_at: Instant
    answer: str | None
    answered_by: str | None
    answered_at: Instant | None


class CollectionOut(Out):
    """A collection as it stands: what was counted and expected, how it was divided, what to know about it.

    ``difference`` is null where nothing is expected. ``corrects`` is the reversed collection whose place it takes.
    """

    id: Id
    venue_id: Id
    status: Status
    currency: str
    collected_at: Instant
    trading_on: Date
    received_at: Instant
    collector: str
    witness: str
    bag: str
    seal: str
    corrects: Id | None
    counted: MoneyOut
    expected: RangeOut | None
    difference: MoneyOut | None
    difference_percent: str | None
    tables: list[CollectedTableOut]
    settlement: SettlementOut | None
    advice: list[CashAdviceOut]
    cautions: list[str]
    entry_id: Id | None
    reversal: ReversalOut | None
    disputes: list[DisputeOut]


class ReversalIn(In):
    """Why a collection is taken back."""

    reason: Said


class DisputeIn(In):
    """Who disputes a collection, what they claim, and why."""

    by: Name
    claims: Said
    reason: Said


class DisputeAnswerIn(In):
    """Who answers a dispute, and what."""

    by: Name
    answer: Said


class PointOut(Out):
    """One collection of a chart: its difference as per cent of the expectation, and the charts' values after it."""

    collection_id: Id
    collected_at: Instant
    currency: str
    expected: MoneyOut
    counted: MoneyOut
    difference: MoneyOut
    difference_percent: str
    ewma_percent: str | None
    cusum_high_percent: str | None
    cusum_low_percent: str | None


class SignalOut(Out):
    """One chart's first crossing on one side, and the first collection it points to."""

    chart: Literal["ewma", "cusum"]
    side: Literal["over", "short"]
    seen_at: Id
    points_to: Id
    detail: str


class DifferencesOut(Out):
    """Differences of a table or a collector, charted: a reason to look, never an accusation."""

    table_id: Id | None
    collector: str | None
    points: list[PointOut]
    sigma_percent: str | None
    ewma_limit_percent: str | None
    cusum_limit_percent: str | None
    signals: list[SignalOut]
    notice: str
    why_no_chart: str | None


class TaxLineOut(Out):
    """The tax taken out in one area, at one rate, in one calendar month of trading dates."""

    tax_area: str
    name: str
    rate: str
    month: str
    currency: Currency
    collections: int
    taxed: MoneyOut
    tax: MoneyOut


class TaxReportOut(Out):
    """Taxes by area and period, of the collections that stand."""

    from_on: Date
    to_on: Date
    items: list[TaxLineOut]
    notice: str
