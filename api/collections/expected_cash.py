"""Expected cash of one box, meter by meter, and the cautions that go with it.

- Counted from the baseline (C1). Without one a meter gives no expectation: it is the ``first_reading`` where no number
  of that meter is on record, else the start is unknown. A meter that went down gives none and is to be reviewed (G1, G2).
- A money meter gives the figure. Without one the games and minutes meters give ranges, which add up.
- A meter that the table does not have, or a value that it cannot show, is kept and flagged, never lost and never guessed.
- If two meters contradict each other, both are reported (G3).
- Refunds out of the box lower the expectation; more refunds than were ever paid in are flagged (C3).
- No count, meter or refund can make this fail: what somebody saw is always recordable.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from ..pricing.money import MAX_MINOR
from ..readings.meters import DeltaKind, Meter, MeterReading, MeterTotal, deltas, disagreement
from ..settlements.expected_range import Expected
from .box_count import BoxCount
from .cash_by_meter import by_money_meter, by_units_meter, less_refunds
from .meter_baseline import Baseline, Since
from .price_history import LaddersSold

_DELTA_MAX_MINOR = MAX_MINOR // 10
"""More money than this in one box is a meter to be reviewed."""

TableCaution = Literal[
    "no_meter_read",
    "first_reading",
    "start_unknown",
    "meters_reset",
    "needs_review",
    "unknown_meter",
    "meters_disagree",
    "no_price_known",
    "other_kinds_sold",
    "no_schedule_then",
    "box_travelled",
    "not_there_then",
    "out_of_order_then",
    "same_time_as_another",
    "denomination_not_taken",
    "weight_differs",
    "refunds_exceed_expected",
]
"""What to know about one table of a collection."""


@dataclass(frozen=True, slots=True)
class MeterFinding:
    """One meter: from ``before`` to ``value``, and the money that means, before refunds; None where nobody can say."""

    name: str
    counts: str
    before: int | None
    value: int
    kind: DeltaKind
    delta: int | None
    story: Expected | None = None


@dataclass(frozen=True, slots=True)
class Expectation:
    """What should be in a box (None: nobody can say), whether that is a money meter's figure, and what to know about it."""

    expected: Expected | None
    is_figure: bool
    meters: tuple[MeterFinding, ...]
    cautions: tuple[TableCaution, ...]


def expect(
    box: BoxCount,
    meters: Sequence[Meter],
    *,
    at: datetime,
    start: Baseline,
    sold: LaddersSold,
    accepts: Sequence[int],
) -> Expectation:
    """Return what should be in a box at an instant, by its table's ``meters`` and what it ``sold`` since the baseline."""
    known, since = {meter.name: meter for meter in meters}, start.since
    found = tuple(
        _read(known.get(name), name, value, at=at, since=since, box=box, sold=sold, accepts=accepts)
        for name, value in sorted(box.meters.items())
    )
    money = next((finding.story for finding in found if finding.counts == "money" and finding.story), None)
    units = _one_of_each_kind(found)
    in_units = sum((finding.story for finding in units if finding.story), Expected(0, 0)) if units else None
    expected = money or in_units
    uncounted = {kind for kind in ("games", "minutes") if getattr(sold, kind)} - {f.counts for f in units}
    cautions = _cautions(found, start, sold)
    if in_units and not money and uncounted:
        cautions.append("other_kinds_sold")
    if money and in_units and _disagree(money, in_units, all_counted=not uncounted):
        cautions.append("meters_disagree")
    if expected is not None:
        if box.refunds_from_box > expected.most:
            cautions.append("refunds_exceed_expected")
        expected = less_refunds(expected, refunds_from_box=box.refunds_from_box)
    return Expectation(expected, money is not None, found, tuple(dict.fromkeys(cautions)))


def _read(
    meter: Meter | None,
    name: str,
    value: int,
    *,
    at: datetime,
    since: Since | None,
    box: BoxCount,
    sold: LaddersSold,
    accepts: Sequence[int],
) -> MeterFinding:
    before = None if since is None else since.meters.get(name)
    if meter is None:
        return MeterFinding(name, "unknown", before, value, "needs_review", None)
    if max(value, before or 0) >= meter.modulus:
        return MeterFinding(name, meter.counts, before, value, "needs_review", None)
    if since is None or before is None:
        return MeterFinding(name, meter.counts, None, value, "baseline", None)
    pair = (MeterReading(since.at, before, collected=since.emptied), MeterReading(at, value))
    step = deltas(meter, pair)[-1]
    believable = step.delta is not None and step.delta * (meter.unit_minor or 1) <= _DELTA_MAX_MINOR
    story = _money(meter, step.delta or 0, box, sold, accepts) if believable else None
    if not believable or (story is not None and story.most > _DELTA_MAX_MINOR):
        return MeterFinding(name, meter.counts, step.before, value, "needs_review", None)
    return MeterFinding(name, meter.counts, step.before, value, step.kind, step.delta, story)


def _money(meter: Meter, delta: int, box: BoxCount, sold: LaddersSold, accepts: Sequence[int]) -> Expected | None:
    if meter.unit_minor is not None:
        return by_money_meter(delta, unit_value=meter.unit_minor)
    if meter.counts == "games":
        return by_units_meter(delta, sold.games, accepts=accepts, free=sold.free, test_games=box.test_games)
    return by_units_meter(delta, sold.minutes, accepts=accepts, free=sold.free)


def _one_of_each_kind(found: Sequence[MeterFinding]) -> list[MeterFinding]:
    """Return the first games meter and the first minutes meter that speak."""
    speaking = [finding for finding in found if finding.counts in ("games", "minutes") and finding.story]
    return list({finding.counts: finding for finding in reversed(speaking)}.values())


def _cautions(found: Sequence[MeterFinding], start: Baseline, sold: LaddersSold) -> list[TableCaution]:
    cautions: list[TableCaution] = []
    if not found:
        cautions.append("no_meter_read")
    if any(finding.counts == "unknown" for finding in found):
        cautions.append("unknown_meter")
    baselines = {finding.name for finding in found if finding.kind == "baseline"}
    if baselines - start.read_before:
        cautions.append("first_reading")
    if baselines & start.read_before and not start.reset:
        cautions.append("start_unknown")
    if any(finding.kind == "needs_review" and finding.counts != "unknown" for finding in found):
        cautions.append("needs_review")
    if any(finding.delta is not None and finding.story is None for finding in found):
        cautions.append("no_price_known")
    counted_units = any(finding.story is not None and finding.counts != "money" for finding in found)
    if counted_units and not sold.covered:
        cautions.append("no_schedule_then")
    return cautions


def _disagree(money: Expected, in_units: Expected, *, all_counted: bool) -> bool:
    """Tell whether the money meter and the others cannot both be right; what no meter counts may bring any money."""
    most = in_units.most if all_counted else max(in_units.most, money.most)
    stories = MeterTotal("money", money.least, money.most), MeterTotal("units", in_units.least, most)
    return disagreement(*stories) is not None
