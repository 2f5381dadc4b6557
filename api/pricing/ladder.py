"""Prepaid ladders: money buys games, or money buys minutes.

- P1: ``counting`` says how a controller counts the money of one purchase; k is the highest price that the money reaches.
  ``repeat`` sells price k, and what remains starts from the bottom. ``climb`` reaches each price once, and between
  prices money buys at the first; from the top price on the count starts over. ``climb_once`` is the same, but past the
  top price only the first price follows.
- P2: what is below the first price at the end is left, and counts toward the next unit of the purchase.
- P3: no price gives less than the prices below it give for the same money, counted the ladder's own way.
- P4: the total depends on the money of the purchase alone, and units never fall as money grows.
- P5: ``least`` is the least money for a number of units in one purchase (``separate_purchases.py``: in several).
- P7: ``next_break`` is the least further money at which a price above the first is newly reached.
- E1: the lines of a sale add up to its units and to what it spends.

Theory. ``climb`` and ``climb_once`` are read off their formulas. For ``repeat`` write f(k) for the ladder of the k lowest
rungs. It repeats with its own highest rung: on every stretch of that rung's price it is f(k-1), lifted by the units of
the rungs sold so far; P3 says that it never falls where one stretch meets the next. So going down the rungs once
(``divmod``) finds what a ladder gives, and going up them once finds the least money for so many units and the next
break: a question costs as many steps as there are rungs, however large its numbers.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from operator import attrgetter
from typing import Literal, NamedTuple, get_args

from .errors import Fault, PricingError, pricing_error
from .lines import Kind, Line
from .money import MAX_MINOR, format_money

Counting = Literal["repeat", "climb", "climb_once"]
WAYS_OF_COUNTING: tuple[Counting, ...] = get_args(Counting)
COUNTING_WORDS: dict[Counting, str] = {
    "repeat": "every price counts again and again, the highest first",
    "climb": "each price counts once up to the top price, then the count starts over",
    "climb_once": "each price counts once, and past the top price only the first price counts",
}

MAX_PRICES = 50
MAX_UNITS_OF_A_PRICE = 1_000_000
MAX_UNITS_ASKED = 10_000
"""More units than this in one question are refused (``too_many_units``)."""

_WORDS = {"games": ("game", "games"), "minutes": ("minute", "minutes"), "metered": ("minute", "minutes")}


@dataclass(frozen=True, slots=True)
class Rung:
    """One price: ``price`` minor units buy ``units``; both at least 1 (``bad_price``)."""

    price: int
    units: int

    def __post_init__(self) -> None:
        bounds = (("price", self.price, MAX_MINOR), ("units", self.units, MAX_UNITS_OF_A_PRICE))
        faults = [
            Fault("bad_price", where, repr(found), f"a whole number from 1 to {most}")
            for where, found, most in bounds
            if type(found) is not int or not 1 <= found <= most
        ]
        if faults:
            raise PricingError(*faults)


class Sold(NamedTuple):
    """A rung that was sold, and how many times."""

    rung: Rung
    times: int


class Sale(NamedTuple):
    """What one purchase got: its units, what it spends, what is left (P2), and the rungs sold, highest first."""

    units: int
    spends: int
    left: int
    sold: tuple[Sold, ...]

    def lines(self, kind: Kind, currency: str) -> tuple[Line, ...]:
        """Return one line for each rung sold, in words; they add up to ``units`` and ``spends`` (E1)."""
        return tuple(
            [
                Line(_words_of(rung.price, rung.units, times, kind, currency), times * rung.units, times * rung.price)
                for rung, times in self.sold
            ]
        )


class NextBreak(NamedTuple):
    """``add`` further minor units complete a rung above the first; the purchase then has ``units`` (P7)."""

    add: int
    units: int


@dataclass(frozen=True, slots=True)
class Ladder:
    """Rungs, prices and units strictly rising, the first being the plain price; ``counting`` is P1's way of counting.

    Refuses (all at once) ``bad_price_count``, ``bad_counting`` and ``prices_not_rising``; then ``price_break_worse`` (P3).
    """

    rungs: tuple[Rung, ...]
    counting: Counting = "repeat"

    def __post_init__(self) -> None:
        faults = _faults_of_form(self) or _worse_breaks(self)
        if faults:
            raise PricingError(*faults)

    def __hash__(self) -> int:
        """Hash first and last rung: a schedule's windows are looked up by all their ladders, thousands of rungs each time."""
        return hash((len(self.rungs), self.rungs[0], self.rungs[-1], self.counting))

    @property
    def counts_as(self) -> Counting:
        """The way of counting that these prices tell apart; ``repeat`` where another way gives the same.

        A single price is only ever repeated. A climb shows where more than the second price fits between two prices.
        """
        higher = [rung.price for rung in self.rungs[1:]]
        if self.counting == "climb_once" and higher:
            return "climb_once"
        climbs = any(above - below > higher[0] for below, above in pairwise(higher))
        return "climb" if self.counting == "climb" and climbs else "repeat"

    def total(self, money: int) -> int:
        """Return the units that ``money`` minor units buy in one purchase (P1)."""
        _check_money(money)
        return self._total(money)

    def total_without(self, index: int, money: int) -> int:
        """Return the units that ``money`` minor units would buy without one rung, not the first; P3 is not asked."""
        rungs = (*self.rungs[:index], *self.rungs[index + 1 :])
        if self.counting == "repeat":
            return _units_repeating(rungs, money)
        return _units_climbing(rungs, self.counting, money)

    def _total(self, money: int) -> int:
        if self.counting == "repeat":
            return _units_repeating(self.rungs, money)
        return _units_climbing(self.rungs, self.counting, money)

    def sell(self, money: int) -> Sale:
        """Return what ``money`` minor units buy in one purchase, and the rungs sold (P1, P2)."""
        _check_money(money)
        sold = _repeat(self.rungs, money) if self.counting == "repeat" else _climb(self.rungs, self.counting, money)
        units, left = 0, money
        for rung, times in sold:
            units += times * rung.units
            left -= times * rung.price
        return Sale(units, money - left, left, tuple(sold))

    def units_below(self, index: int) -> int:
        """Return the units that the rungs below one give for its price, counted the ladder's own way (P3)."""
        rungs, price = self.rungs[:index], self.rungs[index].price
        if self.counting == "repeat" or not rungs:
            return _units_repeating(rungs, price)
        return rungs[-1].units + (price - rungs[-1].price) // rungs[0].price * rungs[0].units

    def least(self, units: int) -> int:
        """Return the least money, in minor units, that buys at least ``units`` in one purchase (P5).

        Refuses (``bad_units``, ``too_many_units``) what ``check_units`` does, and units that cost more than the
        engine's largest amount.
        """
        check_units(units)
        least = self._least_repeating(units) if self.counting == "repeat" else self._least_climbing(units)
        if least > MAX_MINOR:
            raise pricing_error("too_many_units", where="units", found=units, expected="units that cost less than this")
        return least

    def next_break(self, money: int) -> NextBreak | None:
        """Return the least further money at which a rung above the first is newly reached (P7).

        None where there is none: a ladder of one rung, or past the highest rung under ``climb_once``.
        """
        _check_money(money)
        left, add = money, MAX_MINOR + 1
        for rung in reversed(self.rungs[1:]):
            price = rung.price
            if left >= price and (self.counting == "repeat" or (self.counting == "climb" and rung is self.rungs[-1])):
                left %= price
            if price - add < left < price:
                add = price - left
        return NextBreak(add, self._total(money + add)) if money + add <= MAX_MINOR else None

    def _least_repeating(self, units: int) -> int:
        spent, prices = 0, []
        for rung in reversed(self.rungs):
            times = (units - 1) // rung.units
            spent, units = spent + times * rung.price, units - times * rung.units
            prices.append(spent + rung.price)
        return min(prices)

    def _least_climbing(self, units: int) -> int:
        first, top = self.rungs[0], self.rungs[-1]
        rounds = (units - 1) // top.units if self.counting == "climb" else 0
        short = units - rounds * top.units
        for rung, above in zip(self.rungs, self.rungs[1:], strict=False):
            least = rung.price + max(0, -(-(short - rung.units) // first.units)) * first.price
            if least < above.price:
                return rounds * top.price + least
        more = max(0, -(-(short - top.units) // first.units))
        return (rounds + 1) * top.price + more * first.price


def check_units(units: int, *, where: str = "units") -> None:
    """Refuse a question about fewer than 1 unit (``bad_units``) or more than 10,000 (``too_many_units``)."""
    if type(units) is not int or units < 1:
        raise pricing_error(
            "bad_units", where=where, found=repr(units), expected=f"a whole number from 1 to {MAX_UNITS_ASKED}"
        )
    if units > MAX_UNITS_ASKED:
        raise pricing_error("too_many_units", where=where, found=units, expected=f"at most {MAX_UNITS_ASKED}")


def count_in_words(units: int, kind: Kind) -> str:
    """Return a count in words: ``1 game``, ``84 minutes``."""
    one, many = _WORDS[kind]
    return f"{units} {one if units == 1 else many}"


def _check_money(money: int) -> None:
    if type(money) is not int or not 0 <= money <= MAX_MINOR:
        raise pricing_error(
            "bad_money", where="money", found=repr(money), expected=f"minor units from 0 to {MAX_MINOR}"
        )


def _repeat(rungs: tuple[Rung, ...], money: int) -> list[Sold]:
    sold = []
    for rung in reversed(rungs):
        if money >= rung.price:
            times, money = divmod(money, rung.price)
            sold.append(Sold(rung, times))
    return sold


def _climb(rungs: tuple[Rung, ...], counting: Counting, money: int) -> list[Sold]:
    """Return the rungs sold on the way up: the top as often as the count starts over, the highest reached, the first."""
    first, top = rungs[0], rungs[-1]
    rounds = 0
    if counting == "climb":
        rounds, money = divmod(money, top.price)
    reached = bisect_right(rungs, money, key=attrgetter("price")) - 1
    if reached < 0:
        return [Sold(top, rounds)] if rounds else []
    times = [0] * len(rungs)
    times[-1] += rounds
    times[reached] += 1
    times[0] += (money - rungs[reached].price) // first.price
    return [Sold(rungs[place], times[place]) for place in range(len(times) - 1, -1, -1) if times[place]]


def _units_repeating(rungs: tuple[Rung, ...], money: int) -> int:
    units = 0
    for rung in reversed(rungs):
        if (price := rung.price) <= money:
            times = money // price
            money -= times * price
            units += times * rung.units
    return units


def _units_climbing(rungs: tuple[Rung, ...], counting: Counting, money: int) -> int:
    units, first = 0, rungs[0]
    if counting == "climb":
        rounds, money = divmod(money, rungs[-1].price)
        units = rounds * rungs[-1].units
    place = bisect_right(rungs, money, key=attrgetter("price"))
    if place == 0:
        return units
    reached = rungs[place - 1]
    return units + reached.units + (money - reached.price) // first.price * first.units


@lru_cache(maxsize=1 << 12)
def _words_of(price: int, units: int, times: int, kind: Kind, currency: str) -> str:
    """Return a price that was sold so many times in words."""
    amount = format_money(price, currency)
    if times == 1:
        return f"{amount} buys {count_in_words(units, kind)}"
    each = f"a {_WORDS[kind][0]}" if units == 1 else count_in_words(units, kind)
    return f"{times} × {amount}, {each} each"


def _faults_of_form(ladder: Ladder) -> list[Fault]:
    faults = []
    if not 1 <= len(ladder.rungs) <= MAX_PRICES:
        expected = f"1 to {MAX_PRICES} prices"
        faults.append(Fault("bad_price_count", "prices", f"{len(ladder.rungs)} prices", expected))
    if ladder.counting not in WAYS_OF_COUNTING:
        faults.append(Fault("bad_counting", "counting", repr(ladder.counting), "repeat, climb or climb_once"))
    for index, (below, rung) in enumerate(pairwise(ladder.rungs), start=1):
        for what, less, found in (("price", below.price, rung.price), ("units", below.units, rung.units)):
            if found <= less:
                where, expected = f"prices[{index}].{what}", f"more than {less}, as in the price before it"
                amounts = (found, less) if what == "price" else None
                faults.append(Fault("prices_not_rising", where, str(found), expected, amounts))
    return faults


def _worse_breaks(ladder: Ladder) -> list[Fault]:
    return [
        Fault(
            "price_break_worse",
            f"prices[{index}].units",
            str(rung.units),
            f"at least {ladder.units_below(index)}, what the prices below it give for the same money",
        )
        for index, rung in enumerate(ladder.rungs)
        if rung.units < ladder.units_below(index)
    ]
