"""Prepaid ladders: money buys games, or money buys minutes.

- P1: the highest rung that the money reaches is sold, and what remains goes on from the bottom; under
  ``climb_once`` only first rungs follow once the highest rung is sold.
- P2: what is below the first rung at the end is left, and counts toward the next unit of the purchase.
- P3: a ladder in which a rung gives less than the rungs below it give for the same money does not exist.
- P4: the total depends on the money of the purchase alone; so units never fall as money grows.
- P5: ``least`` is the least money that buys so many units in one purchase (``split.py``: in several).
- P7: ``next_break`` is the least further money with which the last thing sold is a rung above the first.
- E1: the lines of a sale add up to its units and to what it spends.

Theory. Write f(k) for the ladder of the k lowest rungs under ``repeat``. It repeats with its own highest rung: on every
stretch of that rung's price it is f(k-1), lifted by the units of the rungs sold so far; P3 says that it never falls
where one stretch meets the next. So what a ladder gives is found by going down the rungs once (``divmod``), and the
least money for so many units, and the next amount at which a rung is completed, by going up them once: a question
costs as many steps as there are rungs, however large its numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from .errors import Fault, PricingError, pricing_error
from .lines import Kind, Line
from .money import MOST_MINOR, format_money

Counting = Literal["repeat", "climb_once"]

MOST_RUNGS = 50
MOST_UNITS_OF_A_RUNG = 1_000_000
MOST_UNITS_ASKED = 10_000
"""More units than this in one question are refused (``too_many_units``)."""

_WORDS = {"games": ("game", "games"), "minutes": ("minute", "minutes"), "metered": ("minute", "minutes")}


@dataclass(frozen=True, slots=True)
class Rung:
    """One price: ``pays`` minor units buy ``units``; both at least 1 (``bad_rung``)."""

    price: int
    units: int

    def __post_init__(self) -> None:
        bounds = (("price", self.price, MOST_MINOR), ("units", self.units, MOST_UNITS_OF_A_RUNG))
        faults = [
            Fault("bad_rung", where, repr(found), f"a whole number from 1 to {most}")
            for where, found, most in bounds
            if type(found) is not int or not 1 <= found <= most
        ]
        if faults:
            raise PricingError(*faults)


@dataclass(frozen=True, slots=True)
class Sold:
    """A rung that was sold, and how many times."""

    rung: Rung
    times: int


@dataclass(frozen=True, slots=True)
class Sale:
    """What one purchase got: its units, what it spends, what is left (P2), and the rungs sold, highest first."""

    units: int
    spends: int
    left: int
    sold: tuple[Sold, ...]

    def lines(self, kind: Kind, currency: str) -> tuple[Line, ...]:
        """Return one line for each rung sold, in words; they add up to ``units`` and ``spends`` (E1)."""
        return tuple(
            Line(_words_of(part, kind, currency), part.times * part.rung.units, part.times * part.rung.price)
            for part in self.sold
        )


@dataclass(frozen=True, slots=True)
class NextBreak:
    """``add`` further minor units complete a rung above the first; the purchase then has ``units`` (P7)."""

    add: int
    units: int


@dataclass(frozen=True, slots=True)
class Ladder:
    """Rungs, both strictly rising, the first being the plain price; ``counting`` says what money past the last one buys.

    Refuses (all at once) ``bad_rung_count``, ``bad_beyond`` and ``rungs_not_rising``; then ``rung_steps_back`` (P3).
    """

    rungs: tuple[Rung, ...]
    counting: Counting = "repeat"

    def __post_init__(self) -> None:
        faults = _faults_of_form(self) or _steps_back(self.rungs)
        if faults:
            raise PricingError(*faults)

    def total(self, money: int) -> int:
        """Return the units that ``money`` minor units buy in one purchase (P1)."""
        return self.sell(money).units

    def sell(self, money: int) -> Sale:
        """Return what ``money`` minor units buy in one purchase, and the rungs sold (P1, P2)."""
        _check_money(money)
        first, top = self.rungs[0], self.rungs[-1]
        if self._top_sells_once and money >= top.price:
            sold = [Sold(top, 1), *_again((first,), money - top.price)]
        else:
            sold = _again(self.rungs, money)
        spends = sum(part.times * part.rung.price for part in sold)
        return Sale(sum(part.times * part.rung.units for part in sold), spends, money - spends, tuple(sold))

    def least(self, units: int) -> int:
        """Return the least money, in minor units, that buys at least ``units`` in one purchase (P5).

        Refuses (``bad_units``, ``too_many_units``) what ``check_units`` does, and units that cost more than the
        engine's largest amount.
        """
        check_units(units)
        least = self._least(units)
        if least > MOST_MINOR:
            raise pricing_error("too_many_units", where="units", found=units, expected="units that cost less than this")
        return least

    def next_break(self, money: int) -> NextBreak | None:
        """Return the least further money with which the last thing sold is a rung above the first (P7).

        None where there is none: a ladder of one rung, or the highest rung sold under ``climb_once``.
        """
        _check_money(money)
        if len(self.rungs) == 1 or (self._top_sells_once and money >= self.rungs[-1].price):
            return None
        left, add = money, self.rungs[-1].price
        for rung in reversed(self.rungs[1:]):
            left %= rung.price
            add = min(add, rung.price - left)
        return NextBreak(add, self.total(money + add)) if money + add <= MOST_MINOR else None

    def _least(self, units: int) -> int:
        first, top = self.rungs[0], self.rungs[-1]
        if self._top_sells_once and units > top.units:
            more = units - top.units
            return top.price + -(-more // first.units) * first.price
        spent, prices = 0, []
        for rung in reversed(self.rungs):
            times = (units - 1) // rung.units
            spent, units = spent + times * rung.price, units - times * rung.units
            prices.append(spent + rung.price)
        return min(prices)

    @property
    def _top_sells_once(self) -> bool:
        return self.counting == "climb_once" and len(self.rungs) > 1


def check_units(units: int, *, where: str = "units") -> None:
    """Refuse a question about fewer than 1 unit (``bad_units``) or more than 10,000 (``too_many_units``)."""
    if type(units) is not int or units < 1:
        raise pricing_error(
            "bad_units", where=where, found=repr(units), expected=f"a whole number from 1 to {MOST_UNITS_ASKED}"
        )
    if units > MOST_UNITS_ASKED:
        raise pricing_error("too_many_units", where=where, found=units, expected=f"at most {MOST_UNITS_ASKED}")


def count_of(units: int, kind: Kind) -> str:
    """Return a count in words: ``1 game``, ``84 minutes``."""
    one, many = _WORDS[kind]
    return f"{units} {one if units == 1 else many}"


def _check_money(money: int) -> None:
    if type(money) is not int or not 0 <= money <= MOST_MINOR:
        raise pricing_error(
            "bad_money", where="money", found=repr(money), expected=f"minor units from 0 to {MOST_MINOR}"
        )


def _again(rungs: tuple[Rung, ...], money: int) -> list[Sold]:
    sold = []
    for rung in reversed(rungs):
        times, money = divmod(money, rung.price)
        if times:
            sold.append(Sold(rung, times))
    return sold


def _words_of(part: Sold, kind: Kind, currency: str) -> str:
    price = format_money(part.rung.price, currency)
    if part.times == 1:
        return f"{price} buys {count_of(part.rung.units, kind)}"
    each = f"a {_WORDS[kind][0]}" if part.rung.units == 1 else count_of(part.rung.units, kind)
    return f"{part.times} × {price}, {each} each"


def _faults_of_form(ladder: Ladder) -> list[Fault]:
    faults = []
    if not 1 <= len(ladder.rungs) <= MOST_RUNGS:
        faults.append(Fault("bad_rung_count", "prices", f"{len(ladder.rungs)} rungs", f"1 to {MOST_RUNGS} rungs"))
    if ladder.counting not in ("repeat", "climb_once"):
        faults.append(Fault("bad_beyond", "counting", repr(ladder.counting), "again or first_rung"))
    for index, (below, rung) in enumerate(pairwise(ladder.rungs), start=1):
        for what, less, found in (("price", below.price, rung.price), ("units", below.units, rung.units)):
            if found <= less:
                where, expected = f"prices[{index}].{what}", f"more than the {less} of the rung below"
                amounts = (found, less) if what == "price" else None
                faults.append(Fault("rungs_not_rising", where, str(found), expected, amounts))
    return faults


def _steps_back(rungs: tuple[Rung, ...]) -> list[Fault]:
    faults = []
    for index, rung in enumerate(rungs):
        below = sum(part.times * part.rung.units for part in _again(rungs[:index], rung.price))
        if rung.units < below:
            expected = f"at least {below}, what the rungs below it give for the same money"
            faults.append(Fault("rung_steps_back", f"prices[{index}].units", str(rung.units), expected))
    return faults
