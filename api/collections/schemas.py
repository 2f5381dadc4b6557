"""Collections as sent and received."""

from typing import Annotated, Literal

from pydantic import MISSING, AfterValidator, StrictInt, WrapValidator
from pydantic import Field as Limits

from ..pool_tables.schemas import MeterName
from ..settlements.schemas import SettlementOut
from ..web.batch import Unreadable, one_by_one
from ..web.feed import ChangeOut, ChangePageOf
from ..web.schema_types import Count, Date, Id, In, Instant, Money, MoneyOut, Name, Out, PageOf, Words

CollectionStatus = Literal["settled", "unsettled", "reversed"]
COLLECTIONS_MAX = 25
BOXES_MAX = 100

Pieces = Annotated[StrictInt, Limits(ge=0, le=10_000_000)]
Denomination = Annotated[str, Limits(pattern=r"^[0-9]{1,12}(\.[0-9]{1,4})?$", description="A coin's or note's value.")]
Grams = Annotated[str, Limits(pattern=r"^[0-9]{1,7}(\.[0-9]{1,3})?$", description="Grams.")]
MeterValues = Annotated[dict[MeterName, Count], Limits(max_length=20)]


class OtherIn(In):
    """Anything else in the box: foreign coins, tokens, a note nobody takes."""

    what: Annotated[Name, Limits(description="What it is, such as tokens or a foreign coin.")]
    count: Annotated[Pieces, Limits(description="How many of them.")]


class EmptiedBeforeIn(In):
    """An emptying of the box before the books began, or one that nobody recorded."""

    at: Annotated[Instant, Limits(description="When the box was last emptied; before this collection.")]
    meters: Annotated[MeterValues, Limits(description="The values on the meters then, by name.")]


class CollectedTableIn(In):
    """One table's box, and its meters as they showed before it was emptied."""

    table_id: Annotated[Id, Limits(description="The table.")]
    counted: Annotated[
        dict[Denomination, Pieces],
        Limits(max_length=60, description="How many of each value: coins and notes by value, in the venue's currency."),
    ]
    meters: Annotated[
        MeterValues | MISSING, Limits(description="The values on the meters at the collection, by name.")
    ] = MISSING
    weighed_g: Annotated[
        Annotated[dict[Denomination, Grams], Limits(max_length=60)] | MISSING,
        Limits(description="Grams by value, where coins were weighed: a check of the count."),
    ] = MISSING
    other: Annotated[
        Annotated[list[OtherIn], Limits(max_length=60)] | MISSING,
        Limits(description="What else was in the box; it is not money."),
    ] = MISSING
    refunds_from_box: Annotated[
        Money | MISSING, Limits(description="Refunds that were paid out of the box: they lower the expectation only.")
    ] = MISSING
    refunds_by_venue: Annotated[
        Money | MISSING, Limits(description="Refunds that the venue paid: they are returned to it.")
    ] = MISSING
    test_games: Annotated[
        Annotated[StrictInt, Limits(ge=0, le=100_000)] | MISSING,
        Limits(description="Games started without money, to try the table. They count on a games meter only."),
    ] = MISSING
    test_money: Annotated[
        Money | MISSING,
        Limits(description="The operator's money put in to try the table. It lies in the box and is returned."),
    ] = MISSING
    house_money: Annotated[
        Money | MISSING, Limits(description="The venue's money put in to start play: it is returned to the venue.")
    ] = MISSING
    emptied_before: Annotated[
        EmptiedBeforeIn | MISSING,
        Limits(description="When the box was last empty, where no collection or move on record states it."),
    ] = MISSING


class CollectionIn(In):
    """A collection, by the sender's own id: sent again with the same content it is answered as before."""

    id: Annotated[Id, Limits(description="A UUID that the sender makes, once for this collection.")]
    venue_id: Annotated[Id, Limits(description="The venue.")]
    collected_at: Annotated[Instant, Limits(description="When the boxes were emptied.")]
    collector: Annotated[
        Name | MISSING, Limits(description="Who collected; without it, the person whose token this is.")
    ] = MISSING
    witness: Annotated[Name | MISSING, Limits(description="Who counted too.")] = MISSING
    bag: Annotated[Name | MISSING, Limits(description="The bag that the money went into.")] = MISSING
    seal: Annotated[Name | MISSING, Limits(description="The number of the bag's seal.")] = MISSING
    tables: Annotated[
        list[CollectedTableIn], Limits(min_length=1, max_length=200, description="The boxes, each table once.")
    ]


def _bounded(items: list[CollectionIn | Unreadable]) -> list[CollectionIn | Unreadable]:
    boxes = sum(len(item.tables) for item in items if isinstance(item, CollectionIn))
    if boxes > BOXES_MAX:
        raise ValueError(f"at most {BOXES_MAX} tables in all collections of a batch, not {boxes}")
    return items


class CollectionsIn(In):
    """A batch of collections, each judged on its own."""

    collections: Annotated[
        list[Annotated[CollectionIn, WrapValidator(one_by_one)]],
        Limits(
            max_length=COLLECTIONS_MAX,
            description="At most 25 collections, in any order, with at most 100 tables in all.",
        ),
        AfterValidator(_bounded),
    ]


class RangeOut(Out):
    """From least to most; a figure is a range of one."""

    least: MoneyOut
    most: MoneyOut


class MeterFindingOut(Out):
    """Money paid in by one meter since the reading before, before refunds; null where nobody can say."""

    name: str
    counts: Literal["money", "games", "minutes", "unknown"]
    before: int | None
    now: int
    kind: Literal["baseline", "counted", "rolled_over", "needs_review"]
    delta: int | None
    says: RangeOut | None


class WeightOut(Out):
    """A weighing as a check of a count; null where the mint's mass is not on record."""

    denomination: MoneyOut
    count: int
    weighed_g: str
    expected_g: str | None
    off_g: str | None
    count_by_weight: int | None
    agrees: bool | None


class OtherOut(Out):
    """Anything else in the box."""

    what: str
    count: int


class EmptiedBeforeOut(Out):
    """An emptying of the box before the books began."""

    at: Instant
    meters: dict[str, int]


class WordOut(Out):
    """One sentence on what is odd about a count, and what to do about it at the box."""

    code: str
    text: str


class AsRecordedOut(Out):
    """Expectation and difference as they were judged when the collection was recorded."""

    expected: RangeOut | None
    difference: MoneyOut | None
    difference_percent: str | None


class ComparedOut(Out):
    """How many tables the expectation in all covers, of how many, and the money counted in those."""

    tables: int
    of: int
    counted: MoneyOut


class CollectedTableOut(Out):
    """One table of a collection; ``since`` is when its box was last empty.

    ``expected`` and ``difference`` are judged by all that is on record now; ``as_recorded`` is how they were judged when
    the collection was recorded. ``word`` is null where nothing is odd.
    """

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
    emptied_before: EmptiedBeforeOut | None
    cautions: list[str]
    word: WordOut | None
    as_recorded: AsRecordedOut


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
    """A collection now: count, expectation, settlement, and what to know about it.

    ``expected`` and ``difference`` are those of the tables that have an expectation, judged by all that is on record
    now; ``compared`` says how many tables those are, and all are null where nothing is expected. ``as_recorded`` is the
    judgement when it was recorded. ``word`` is the most telling word of its tables. ``corrects`` is the reversed
    collection whose place it takes.
    """

    id: Id
    venue_id: Id
    status: CollectionStatus
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
    compared: ComparedOut | None
    as_recorded: AsRecordedOut
    word: str | None
    tables: list[CollectedTableOut]
    settlement: SettlementOut | None
    advice: list[CashAdviceOut]
    cautions: list[str]
    entry_id: Id | None
    reversal: ReversalOut | None
    disputes: list[DisputeOut]


class ReversalIn(In):
    """Why a collection is taken back."""

    reason: Annotated[Words, Limits(description="Why, in words; it stays with the collection.")]


class DisputeIn(In):
    """Who disputes a collection, what they claim, and why."""

    by: Annotated[Name, Limits(description="Who disputes it.")]
    claims: Annotated[Words, Limits(description="What they claim, such as another count.")]
    reason: Annotated[Words, Limits(description="Why they claim it.")]


class DisputeAnswerIn(In):
    """Who answers a dispute, and what."""

    by: Annotated[Name, Limits(description="Who answers.")]
    answer: Annotated[Words, Limits(description="The answer; it closes the dispute.")]


class CollectionChangeOut(ChangeOut):
    """A collection that was recorded, settled, reversed or disputed, as it is now."""

    collection: CollectionOut


class CollectionChangePage(ChangePageOf[CollectionChangeOut]):
    """A page of the collections that have changed."""


class CollectionPage(PageOf[CollectionOut]):
    """A page of collections."""
