"""What a table's meters counted between readings.

- G1 A first reading is a baseline and contributes nothing; each later one contributes what was added, once. So does the
  first after work that reset the meters or replaced the board (R5); a reading that reports the
  work shows the meter as it was left.
- G1 A meter that is reset at each collection starts at zero after one; the reading at the collection was taken before.
  If it goes down without one, it ``needs_review``: it cannot be told from a collection that nobody recorded.
- G2 A cumulative meter that goes down is a roll-over only if the step through the modulus is the smaller one, less than
  half the modulus; else it ``needs_review``: the reading is kept, no takings are made of it, and it is the next baseline.
- G3 Two meters of one table that contradict each other are shown with both figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, NamedTuple

from ..pool_tables.equipment import MeterCounts, MeterResets
from ..pricing.errors import DomainError, Fault, domain_error

DeltaKind = Literal["baseline", "counted", "rolled_over", "needs_review"]

RESETTING = frozenset({"meters_reset", "board_replaced"})
"""What is done at a table that starts its meters again."""


@dataclass(frozen=True, slots=True)
class Meter:
    """What a meter counts, how many digits it has, when it is reset; ``unit_minor`` is the money of one count."""

    name: str
    counts: MeterCounts
    digits: int
    resets: MeterResets = "never"
    unit_minor: int | None = None

    def __post_init__(self) -> None:
        faults = []
        if not 1 <= self.digits <= 18:
            faults.append(Fault("bad_digits", "digits", str(self.digits), "1 to 18"))
        if (self.counts == "money") != (self.unit_minor is not None):
            faults.append(
                Fault("bad_unit", "unit_minor", str(self.unit_minor), "money for a money meter, nothing for another")
            )
        elif self.unit_minor is not None and self.unit_minor < 1:
            faults.append(Fault("bad_unit", "unit_minor", str(self.unit_minor), "at least 1 minor unit"))
        if faults:
            raise DomainError(*faults)

    @property
    def modulus(self) -> int:
        """One more than the most it can show."""
        return 10**self.digits  # type: ignore[no-any-return]


class MeterReading(NamedTuple):
    """A meter's value at an instant; whether it was reset before, and whether the box was then collected."""

    taken_at: datetime
    value: int
    reset: bool = False
    collected: bool = False


class MeterDelta(NamedTuple):
    """What a reading added to the one before it: ``delta`` counts; None where nobody can say."""

    from_at: datetime | None
    to_at: datetime
    before: int | None
    value: int
    kind: DeltaKind
    delta: int | None


@dataclass(frozen=True, slots=True)
class MeterTotal:
    """What one meter says was taken between two readings, in minor units: the least and the most; a money meter's agree."""

    meter: str
    least_minor: int
    most_minor: int

    def __post_init__(self) -> None:
        if not 0 <= self.least_minor <= self.most_minor:
            raise domain_error(
                "bad_story",
                where="most_minor",
                found=f"{self.least_minor} to {self.most_minor}",
                expected="0 or more, the least not above the most",
            )


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two totals that cannot both be true, and the least by which they differ, in minor units."""

    one: MeterTotal
    other: MeterTotal
    apart_minor: int


def step(before: int, value: int, *, modulus: int) -> tuple[DeltaKind, int | None]:
    """Return what a cumulative meter counted from ``before`` to ``value`` (G2), and whether that is known.

    Also right for a counter of 32 bits (RFC 2578): its modulus is 2³².
    """
    if value >= before:
        return "counted", value - before
    through = value - before + modulus
    return ("rolled_over", through) if 2 * through < modulus else ("needs_review", None)


def deltas(meter: Meter, readings: Sequence[MeterReading]) -> tuple[MeterDelta, ...]:
    """Return what each reading added, in time order (G1, G2).

    Refuses (``bad_meter_value``) values that the meter cannot show.
    """
    modulus = meter.modulus
    faults = [
        Fault("bad_meter_value", f"readings[{i}].value", str(reading.value), f"0 to {modulus - 1}")
        for i, reading in enumerate(readings)
        if not 0 <= reading.value < modulus
    ]
    if faults:
        raise DomainError(*faults)
    ordered = sorted(readings, key=lambda reading: reading.taken_at)
    befores: list[MeterReading | None] = [None, *ordered]
    return tuple(_delta(meter, modulus, before, reading) for before, reading in zip(befores, ordered, strict=False))


def counted(found: Sequence[MeterDelta]) -> int:
    """Return how many counts are known to have been added; what needs review adds nothing."""
    return sum(delta.delta or 0 for delta in found)


def money(meter: Meter, count: int) -> MeterTotal:
    """Return what a money meter's count is worth; refuse (``no_money_meter``) another meter."""
    if meter.unit_minor is None:
        raise domain_error(
            "no_money_meter", where="meter", found=f"{meter.name}, {meter.counts}", expected="a money meter"
        )
    return MeterTotal(meter.name, count * meter.unit_minor, count * meter.unit_minor)


def disagreement(one: MeterTotal, other: MeterTotal) -> Disagreement | None:
    """Return both figures where two meters cannot both be right (G3); None where one amount fits both."""
    apart = max(one.least_minor, other.least_minor) - min(one.most_minor, other.most_minor)
    return Disagreement(one, other, apart) if apart > 0 else None


def _delta(meter: Meter, modulus: int, before: MeterReading | None, reading: MeterReading) -> MeterDelta:
    if before is None or reading.reset:
        return MeterDelta(None, reading.taken_at, None, reading.value, "baseline", 0)
    emptied = meter.resets == "at_collection" and before.collected
    start = 0 if emptied else before.value
    kind, delta = step(start, reading.value, modulus=modulus)
    if kind == "rolled_over" and meter.resets == "at_collection":
        kind, delta = "needs_review", None
    return MeterDelta(before.taken_at, reading.taken_at, start, reading.value, kind, delta)
