"""Which way does a controller count? Found out with a few sums of money (P11).

- What somebody saw is a sum of money in one purchase and the games or minutes shown for it; by P4 it does not matter how
  the money was put in, so what is shown after each coin is an observation of its own.
- A candidate is a ladder: prices and a way of counting. It fits if it gives what was seen, every time; otherwise the first
  observation that it does not give rules it out.
- Prices that nobody knows are read from the observations: a price is taken to be at the sum that first shows it. A price
  that adds nothing cannot be seen.
- The next sum is the cheapest for which no two of the remaining candidates show the same; where no sum does that, the
  cheapest that leaves fewest of them together. Candidates that show the same for every sum count as one.
- E4: only sums at which a candidate steps up are looked at, the lowest first, up to three times the highest price.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from .errors import Fault, PricingError
from .ladder import WAYS_OF_COUNTING, Counting, Ladder, Rung
from .ladder_advice import Steps, ladder_steps
from .money import MAX_MINOR
from .payable import next_payable

CANDIDATES_MAX = 60
SEEN_MAX = 1_000
LOOK_UPS_MAX = 60_000
"""No more than this many sums times candidates are looked at for the next sum."""


@dataclass(frozen=True, slots=True)
class Seen:
    """``money`` minor units of one purchase, at least 1, and the ``units`` that the table showed for them, at least 0."""

    money: int
    units: int


@dataclass(frozen=True, slots=True)
class RuledOut:
    """A candidate, the index of the first observation that it does not give, and the units that it would have shown."""

    ladder: Ladder
    seen: int
    expected: int


@dataclass(frozen=True, slots=True)
class NextSum:
    """The next sum to put in (minor units), and for each number of units then shown the candidates that would remain."""

    money: int
    outcomes: tuple[tuple[int, tuple[Ladder, ...]], ...]


@dataclass(frozen=True, slots=True)
class CountingCheck:
    """The candidates that fit and those ruled out, each in the order given; ``next_sum`` None: no sum tells more."""

    fits: tuple[Ladder, ...]
    ruled_out: tuple[RuledOut, ...]
    next_sum: NextSum | None


def check_counting(
    candidates: Iterable[Ladder], seen: Sequence[Seen], *, accepts: tuple[int, ...] | None = None
) -> CountingCheck:
    """Return which candidates give everything that was seen, what rules out the others, and the next sum to put in.

    ``accepts``: the denominations of the table in minor units; the next sum is then one that they can make up. Refuses
    ``bad_money`` and ``bad_units`` of an observation, ``too_much_work``, and what ``next_payable`` refuses.
    """
    ladders = tuple(dict.fromkeys(candidates))
    _check(ladders, seen)
    fits: list[Ladder] = []
    ruled_out: list[RuledOut] = []
    for ladder in ladders:
        index = next((i for i, one in enumerate(seen) if ladder.total(one.money) != one.units), None)
        if index is None:
            fits.append(ladder)
        else:
            ruled_out.append(RuledOut(ladder, index, ladder.total(seen[index].money)))
    return CountingCheck(tuple(fits), tuple(ruled_out), _next_sum(fits, accepts))


def prices_seen(seen: Sequence[Seen]) -> tuple[Ladder, ...]:
    """Return, for each way of counting, the prices that the observations themselves show; empty if nothing was bought.

    The simplest that fit; where none fit, all the prices that the observations call for.
    """
    found: list[Ladder] = []
    for way in WAYS_OF_COUNTING:
        rungs = _rungs_seen(seen, way)
        tops = [_ladder(rungs[:count], way) for count in range(1, len(rungs) + 1)]
        ladders = [ladder for ladder in tops if ladder is not None]
        fitting = [ladder for ladder in ladders if all(ladder.total(one.money) == one.units for one in seen)]
        found += fitting[:1] or ladders[-1:]
    return tuple(found)


def _rungs_seen(seen: Sequence[Seen], way: Counting) -> tuple[Rung, ...]:
    """Return a rung for each sum, from the lowest up, that shows more than the rungs below it give on the way up."""
    on_the_way: Counting = "repeat" if way == "repeat" else "climb_once"
    rungs: tuple[Rung, ...] = ()
    below: Ladder | None = None
    for one in sorted(seen, key=lambda one: (one.money, one.units)):
        is_higher = not rungs or (rungs[-1].price < one.money and rungs[-1].units < one.units)
        if is_higher and one.units > (below.total(one.money) if below else 0):
            higher = _ladder((*rungs, Rung(one.money, one.units)), on_the_way)
            if higher is None:
                break
            rungs, below = higher.rungs, higher
    return rungs


def _ladder(rungs: tuple[Rung, ...], way: Counting) -> Ladder | None:
    try:
        return Ladder(rungs, way)
    except PricingError:
        return None


def _next_sum(fits: Sequence[Ladder], accepts: tuple[int, ...] | None) -> NextSum | None:
    if len(fits) < 2:
        return None
    reach = min(3 * max(ladder.rungs[-1].price for ladder in fits), MAX_MINOR)
    steps = [ladder_steps(ladder, reach=reach) for ladder in fits]
    sums = _sums(steps, accepts)
    shown = [[one.at(money) for one in steps] for money in sums]
    # Candidates with the same column show the same for every sum: one of them speaks for all.
    columns = {column: index for index, column in reversed([*enumerate(zip(*shown, strict=True))])}
    together, money = min(
        (
            (max(Counter(row[index] for index in columns.values()).values()), money)
            for money, row in zip(sums, shown, strict=True)
        ),
        default=(len(columns), 0),
    )
    if together == len(columns):
        return None
    outcomes: dict[int, list[Ladder]] = {}
    for ladder in fits:
        outcomes.setdefault(ladder.total(money), []).append(ladder)
    return NextSum(money, tuple((units, tuple(ladders)) for units, ladders in sorted(outcomes.items())))


def _sums(steps: Sequence[Steps], accepts: tuple[int, ...] | None) -> list[int]:
    """Return the sums worth looking at, the lowest first: where a candidate steps up, or the next that can be paid."""
    amounts = {amount for one in steps for amount in one.amounts}
    if accepts is not None:
        amounts = {next_payable(accepts, amount) for amount in amounts}
    known = min(one.known for one in steps)
    return sorted(amount for amount in amounts if 0 < amount <= known)[: LOOK_UPS_MAX // len(steps)]


def _check(ladders: Sequence[Ladder], seen: Sequence[Seen]) -> None:
    faults: list[Fault] = []
    for index, one in enumerate(seen):
        if type(one.money) is not int or not 1 <= one.money <= MAX_MINOR:
            expected = f"minor units from 1 to {MAX_MINOR}"
            faults.append(Fault("bad_money", f"seen[{index}].money", repr(one.money), expected))
        if type(one.units) is not int or one.units < 0:
            faults.append(Fault("bad_units", f"seen[{index}].units", repr(one.units), "a whole number of at least 0"))
    for where, count, most in (("candidates", len(ladders), CANDIDATES_MAX), ("seen", len(seen), SEEN_MAX)):
        if count > most:
            faults.append(Fault("too_much_work", where, str(count), f"at most {most}"))
    if faults:
        raise PricingError(*faults)
