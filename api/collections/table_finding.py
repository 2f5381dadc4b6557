"""One table of a collection: its expectation, its difference, its weighings, its cautions and the advice on them.

Judged from the facts of the table each time that somebody asks, by the same code for everybody who asks (C6, C9).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from ..jobs.out_of_order import within
from ..pricing.money import format_money
from ..settlements.expected_range import Expected
from .box_count import BoxCount
from .coins import WeightCheck, weigh
from .difference import Difference, beyond_tolerance, difference
from .expected_cash import Expectation, TableCaution, expect
from .meter_baseline import Baseline, TableHistory, baseline, stay_in_history
from .price_history import LaddersSold, prices_between


@dataclass(frozen=True, slots=True)
class TableFinding:
    """The finding at one table; ``since_at`` is when its box was last empty."""

    table_id: UUID
    label: str
    box: BoxCount
    since_at: datetime | None
    expectation: Expectation
    difference: Difference | None
    weighings: tuple[tuple[int, WeightCheck | None], ...]
    cautions: tuple[TableCaution, ...]
    advice: tuple[tuple[str, str], ...]


def asks_for_prices(history: TableHistory, box: BoxCount) -> bool:
    """Tell whether an expectation needs prices: whether a games or a minutes meter was read."""
    return any(meter.name in box.meters for meter in history.meters if meter.counts != "money")


def find_at_table(
    history: TableHistory, box: BoxCount, *, at: datetime, id: UUID | None, venue_id: UUID, currency: str
) -> TableFinding:
    """Return the finding at one table of a collection; ``id`` is None where the collection was reversed."""
    start = baseline(history, at=at, id=id, stated=box.emptied_before)
    since = start.since
    priced = since is not None and asks_for_prices(history, box)
    sold = (
        prices_between(history.machine, from_at=since.at, to_at=at) if since is not None and priced else LaddersSold()
    )
    expectation = expect(box, history.meters, at=at, start=start, sold=sold, accepts=history.accepts)
    weighings = tuple(
        (value, weigh(currency, value, count=box.counts.get(value, 0), weighed_g=grams))
        for value, grams in box.weighed_g.items()
    )
    foreign = [value for value, count in box.counts.items() if count and value not in history.accepts]
    off = [(value, check) for value, check in weighings if check is not None and not check.agrees]
    here = stay_in_history(history, at).venue_id == venue_id
    unplayable = since is not None and _took_money_out_of_order(history, box, from_at=since.at, to_at=at)
    same_time = id is not None and any(row.at == at and row.id != id for row in history.collected)
    return TableFinding(
        table_id=history.table_id,
        label=history.label,
        box=box,
        since_at=None if since is None else since.at,
        expectation=expectation,
        difference=None if expectation.expected is None else difference(box.counted, expectation.expected),
        weighings=weighings,
        cautions=(
            *expectation.cautions,
            *(() if here else ("not_there_then",)),
            *(("out_of_order_then",) if unplayable else ()),
            *(("meters_reset",) if start.reset else ()),
            *(("box_travelled",) if start.travelled else ()),
            *(("same_time_as_another",) if same_time else ()),
            *(("denomination_not_taken",) if foreign else ()),
            *(("weight_differs",) if off else ()),
        ),
        advice=(
            *(() if here else (_place_advice(at),)),
            *((_out_of_order_advice(since.at, box, currency),) if since is not None and unplayable else ()),
            *(_foreign_advice(value, currency) for value in foreign),
            *(_weight_advice(value, check, box, currency) for value, check in off),
            *_start_advice(start, expectation),
            *_meter_advice(expectation, currency),
            *_refund_advice(expectation, box, currency),
        ),
    )


def _took_money_out_of_order(history: TableHistory, box: BoxCount, *, from_at: datetime, to_at: datetime) -> bool:
    """Tell whether nobody could play all that time, and yet more was counted than was put in to try the table."""
    if within(history.out_of_order, from_at=from_at, to_at=to_at) != ((from_at, to_at),):
        return False
    tried = sum(money for done_at, money in history.tried if from_at < done_at <= to_at)
    put_in = max(tried, box.test_money) + box.house_money
    expected = Expected(put_in, put_in)
    return beyond_tolerance(difference(box.counted, expected), expected) and box.counted > put_in


def _place_advice(at: datetime) -> tuple[str, str]:
    text = f"By the records this table was not at this venue on {at:%Y-%m-%d}. Check which table it is; if it was moved, record the move."
    return "not_there_then", text


def _out_of_order_advice(since_at: datetime, box: BoxCount, currency: str) -> tuple[str, str]:
    return (
        "out_of_order_then",
        f"This table was reported out of order all the time since {since_at:%Y-%m-%d}, but "
        f"{format_money(box.counted, currency)} was counted. Check that it is the right box.",
    )


def _foreign_advice(value: int, currency: str) -> tuple[str, str]:
    taken = format_money(value, currency)
    return "denomination_not_taken", f"{taken} was counted; the table does not take it. Is it the right box?"


def _weight_advice(value: int, check: WeightCheck, box: BoxCount, currency: str) -> tuple[str, str]:
    return (
        "weight_differs",
        f"{box.counts.get(value, 0)} of {format_money(value, currency)} were counted; by weight there are about "
        f"{check.count_by_weight} ({check.off_g:+} g). Weight is a check, not the count.",
    )


def _start_advice(start: Baseline, expectation: Expectation) -> Iterator[tuple[str, str]]:
    if "start_unknown" not in expectation.cautions:
        return
    names = ", ".join(found.name for found in expectation.meters if found.kind == "baseline")
    if start.since is None:
        text = f"Nobody recorded when this box was last empty ({names}). If you know, state it as emptied_before."
    else:
        text = f"The box was emptied on {start.since.at:%Y-%m-%d} without a reading of {names}: no expectation from it."
    yield "start_unknown", text


def _meter_advice(expectation: Expectation, currency: str) -> Iterator[tuple[str, str]]:
    for found in expectation.meters:
        if found.counts == "unknown":
            yield (
                "meter_needs_review",
                f"The table has no meter of the name {found.name}, so it gives no expectation. Send it by the name "
                "that the table states, or add the meter to the table.",
            )
        elif found.kind == "needs_review":
            after = "" if found.before is None else f" after {found.before}"
            yield (
                "meter_needs_review",
                f"The meter {found.name} shows {found.value}{after}, so it gives no expectation. Read it again. Was it "
                "reset, or the board replaced?",
            )
    if "meters_disagree" in expectation.cautions:
        stories = "; ".join(
            f"{found.name} says {format_money(found.story.least, currency)} to {format_money(found.story.most, currency)}"
            for found in expectation.meters
            if found.story is not None
        )
        yield "meters_disagree", f"The meters contradict each other: {stories}."


def _refund_advice(expectation: Expectation, box: BoxCount, currency: str) -> Iterator[tuple[str, str]]:
    if "refunds_exceed_expected" in expectation.cautions:
        refunds = format_money(box.refunds_from_box, currency)
        yield (
            "refunds_exceed_expected",
            f"{refunds} was refunded out of the box, more than the meters say was paid in. Did the venue pay it?",
        )
