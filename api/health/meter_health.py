"""The health of a table's meters: the newest count, what it added, counts to review, and contradictions.

- G1 The count goes on from the first reading on record, or from the last work that started a new series (R5).
- G2 A count to review is listed with both values and adds nothing.
- G3 Two money meters are compared over the readings that have both; where they differ, both figures are shown. A games
  or minutes meter is compared with money where its prices are known: when the box is counted (C1).
- G3 A difference below one count of the coarser meter is none: 10.25 in quarters is 10 in whole dollars.
- A meter that is reset at each collection starts at zero after one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from ..readings.meter_history import MeterHistory, MetersRead
from ..readings.meters import (
    Disagreement,
    Meter,
    MeterDelta,
    MeterReading,
    counted,
    deltas,
    disagreement,
    money,
)


@dataclass(frozen=True, slots=True)
class MeterHealth:
    """One meter: its newest reading, what was counted since ``since_at``, and what nobody can tell."""

    meter: Meter
    newest: MeterDelta
    since_at: datetime
    counted: int
    reviews: tuple[MeterDelta, ...]
    disagreement: Disagreement | None


def judge_meters(
    meters: Sequence[Meter],
    history: MeterHistory,
    *,
    reset_at: Sequence[datetime] = (),
) -> tuple[MeterHealth, ...]:
    """Return the health of each meter with a number on record; ``reset_at`` has resets and new boards."""
    readings, collected_at = history.counts, history.emptied_at
    return tuple(
        MeterHealth(
            meter=meter,
            newest=found[-1],
            since_at=found[0].to_at,
            counted=counted(found),
            reviews=tuple(delta for delta in found if delta.kind == "needs_review"),
            disagreement=_contradiction(meter, meters, readings, reset_at),
        )
        for meter in meters
        if (found := _series(meter, readings, reset_at, collected_at))
    )


def _series(
    meter: Meter, readings: Sequence[MetersRead], reset_at: Sequence[datetime], collected_at: Sequence[datetime]
) -> list[MeterDelta]:
    """Return what each reading added since the last reset, the reading at that reset first."""
    name, modulus = meter.name, meter.modulus
    read = [(counts.taken_at, counts.values[name]) for counts in readings if counts.values.get(name, modulus) < modulus]
    emptied_at = collected_at if meter.resets == "at_collection" else ()
    befores = [None, *(at for at, _ in read)]
    nexts = [*(at for at, _ in read[1:]), None]
    found = deltas(
        meter,
        [
            MeterReading(
                taken_at=at,
                value=value,
                reset=bool(reset_at) and any((before is None or before < reset) and reset <= at for reset in reset_at),
                collected=bool(emptied_at)
                and any(at <= taken and (after is None or taken < after) for taken in emptied_at),
            )
            for (at, value), before, after in zip(read, befores, nexts, strict=False)
        ],
    )
    starts = [i for i, delta in enumerate(found) if delta.kind == "baseline"]
    return list(found[starts[-1] :]) if starts else []


def _contradiction(
    meter: Meter, meters: Sequence[Meter], readings: Sequence[MetersRead], reset_at: Sequence[datetime]
) -> Disagreement | None:
    """Return how this money meter and another contradict each other, the first pair that do (G3)."""
    for other in meters:
        if other.name == meter.name or not meter.counts == other.counts == "money":
            continue
        both = [counts for counts in readings if meter.name in counts.values and other.name in counts.values]
        stories = []
        for one in (meter, other):
            found = _series(one, both, reset_at, ())
            if not any(delta.kind == "needs_review" for delta in found):
                stories.append(money(one, counted(found)))
        coarser_minor = max(meter.unit_minor or 0, other.unit_minor or 0)
        if len(stories) == 2 and (apart := disagreement(*stories)) and apart.apart_minor >= coarser_minor:
            return apart
    return None
