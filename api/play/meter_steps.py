"""What a games or minutes meter counted between readings, and the money that was paid for it.

- A step goes from one reading of the meter to the next (G1, G2). What needs review is no step: nobody knows its count.
- Money is a money meter's where both meters were read at both ends. Else it is what was counted in a box, where the
  meter was read when the box was emptied and the time before: what was taken out as refunds had been paid in.
- Test games count on the meter and bring no money (C3). They are taken out of the step in which their box lies. A
  reading in the middle of such a box is passed over for money, so that the box is one step.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from ..readings.meter_history import MeterHistory, MetersRead
from ..readings.meters import Meter, MeterReading, deltas


@dataclass(frozen=True, slots=True)
class MeterStep:
    """What a meter counted between two instants."""

    from_at: datetime
    to_at: datetime
    units: int


@dataclass(frozen=True, slots=True)
class PaidStep:
    """Units that were sold between two instants, and the money put in (minor units).

    ``tested`` are the test games, which are no part of ``units``. ``is_sure`` is False where some of the units were test
    games and nobody knows how many.
    """

    from_at: datetime
    to_at: datetime
    units: int
    money: int
    tested: int = 0
    is_sure: bool = True
    collection_id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxEmptied:
    """A box between two times at which it was emptied: the money put in (minor units), and games started to test."""

    collection_id: str
    from_at: datetime
    to_at: datetime
    money: int
    test_games: int


@dataclass(frozen=True, slots=True)
class MeterSteps:
    """A meter's steps in time order, how many nobody knows, how many readings they go by, and the first and last."""

    known: tuple[MeterStep, ...]
    unknown: int = 0
    readings: int = 0
    first_at: datetime | None = None
    last_at: datetime | None = None


def steps_of_meter(meter: Meter, history: MeterHistory, *, reset_at: Sequence[datetime] = ()) -> MeterSteps:
    """Return what a meter counted from reading to reading; ``reset_at`` has resets and new boards."""
    read = [counts for counts in history.counts if counts.values.get(meter.name, meter.modulus) < meter.modulus]
    found = list(_steps(meter, read, history, reset_at))
    known = tuple(MeterStep(from_at, to_at, units) for from_at, to_at, units in found if units is not None)
    ends = (read[0].taken_at, read[-1].taken_at) if read else (None, None)
    return MeterSteps(known, len(found) - len(known), len(read), *ends)


def paid_by_meter(
    units_meter: Meter,
    money_meter: Meter,
    history: MeterHistory,
    boxes: Sequence[BoxEmptied],
    *,
    reset_at: Sequence[datetime] = (),
) -> list[PaidStep]:
    """Return the steps between readings of both meters, with the money meter's money."""
    meters = (units_meter, money_meter)
    read = [
        counts
        for counts in history.counts
        if all(counts.values.get(meter.name, meter.modulus) < meter.modulus for meter in meters)
    ]
    read = list(_outside_tested_boxes(read, boxes))
    by_meter = [list(_steps(meter, read, history, reset_at)) for meter in meters]
    known = [
        (from_at, to_at, units, money * (money_meter.unit_minor or 1))
        for (from_at, to_at, units), (_, _, money) in zip(*by_meter, strict=True)
        if units is not None and money is not None
    ]
    return [_without_test_games(PaidStep(*step), boxes) for step in known]


def paid_by_boxes(steps: Sequence[MeterStep], boxes: Sequence[BoxEmptied]) -> list[PaidStep]:
    """Return the boxes at both ends of which the meter was read, with what was counted in them."""
    found = []
    for box in boxes:
        inside = [step for step in steps if box.from_at < step.to_at <= box.to_at and box.from_at <= step.from_at]
        ends = [box.from_at, *(step.to_at for step in inside)]
        starts = [*(step.from_at for step in inside), box.to_at]
        if inside and ends == starts:
            step = PaidStep(
                box.from_at,
                box.to_at,
                sum(step.units for step in inside),
                box.money,
                collection_id=box.collection_id,
            )
            found.append(_without_test_games(step, [box]))
    return found


def _steps(
    meter: Meter, read: Sequence[MetersRead], history: MeterHistory, reset_at: Sequence[datetime]
) -> Iterator[tuple[datetime, datetime, int | None]]:
    """Yield each step and its count; None where nobody knows it: it needs review, or the meter was reset meanwhile."""
    befores = [None, *(counts.taken_at for counts in read)]
    nexts = [*(counts.taken_at for counts in read[1:]), None]
    readings = [
        MeterReading(
            counts.taken_at,
            counts.values[meter.name],
            reset=any((before is None or before < at) and at <= counts.taken_at for at in reset_at),
            collected=any(counts.taken_at <= at and (after is None or at < after) for at in history.emptied_at),
        )
        for counts, before, after in zip(read, befores, nexts, strict=False)
    ]
    for delta, before in zip(deltas(meter, readings), befores, strict=False):
        if before is not None:
            yield before, delta.to_at, None if delta.kind == "baseline" else delta.delta


def _outside_tested_boxes(read: Sequence[MetersRead], boxes: Iterable[BoxEmptied]) -> Iterator[MetersRead]:
    """Yield the readings that do not cut a box with test games whose ends were read."""
    at = {counts.taken_at for counts in read}
    whole = [box for box in boxes if box.test_games and {box.from_at, box.to_at} <= at]
    for counts in read:
        if not any(box.from_at < counts.taken_at < box.to_at for box in whole):
            yield counts


def _without_test_games(step: PaidStep, boxes: Iterable[BoxEmptied]) -> PaidStep:
    tested, is_sure = 0, True
    for box in boxes:
        if box.test_games and box.from_at < step.to_at and step.from_at < box.to_at:
            if step.from_at <= box.from_at and box.to_at <= step.to_at:
                tested += box.test_games
            else:
                is_sure = False
    most = min(tested, step.units)
    return replace(step, units=step.units - most, tested=most, is_sure=is_sure and most == tested)
