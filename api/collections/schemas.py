"""Collections as sent and received."""

from typing import Annotated, Literal

from pydantic import MISSING, StrictInt
from pydantic import Field as Limits

from ..settlements.schemas import SettlementOut
from ..web.schema_types import Count, Date, Id, In, Instant, Money, MoneyOut, Name, Out, PageOf, Text

Status = Literal["settled", "unsettled", "reversed"]

Said = Annotated[Text, Limits(min_length=1)]
Pieces = Annotated[StrictInt, Limits(ge=0, le=10_000_000)]
Denomination = Annotated[str, Limits(pattern=r"^[0-9]{1,12}(\.[0-9]{1,4})?$", description="A coin's or note's value.")]
Grams = Annotated[str, Limits(pattern=r"^[0-9]{1,7}(\.[0-9]{1,3})?$", description="Grams.")]
MeterName = Annotated[str, Limits(pattern=r"^[a-z][a-z0-9_]{0,39}$")]


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


class CollectionPage(PageOf[CollectionOut]):
    """A page of collections."""
