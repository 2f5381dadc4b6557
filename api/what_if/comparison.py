"""Compares two lists of prices kind by kind: amounts, an intake, break-even, an elasticity, coins to handle (N4).

- Games are compared with games and minutes with minutes. With a stated pace, minutes of play for a game, games are also
  compared with minutes. Metered time is paid after play and is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from ..pricing import Ladder, Tariff, format_money
from ..pricing.effort import STEPS_OF_A_QUESTION, Effort
from ..pricing.ladder import count_in_words
from ..pricing.lines import PREPAID_KINDS, PrepaidKind
from ..pricing.money import round_half_up
from .intake_bought import Assumed, IntakeUnits, at_elasticity, bought, break_even_share
from .paired_windows import ALL_WEEK, PairedWindow, spoken

COMPARISON_CANNOT_KNOW = (
    "How players put their money together: each coin and note is taken as a purchase of its own where it can be one.",
    "How players take to other prices: the elasticity is what you assume, not what was measured.",
    "Which coins and notes players will bring for other prices.",
    "In which window past money came, unless meters were read at its start and end.",
)
"""What a comparison of prices cannot show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """What was put in over a time: pieces by denomination (minor units)."""

    counts: Mapping[int, int]

    @property
    def total(self) -> int:
        """All of it, in minor units."""
        return sum(value * count for value, count in self.counts.items())


@dataclass(frozen=True, slots=True, kw_only=True)
class SideSales:
    """What one side sells of a kind, what each amount and the intake buy; units left over are money (minor units)."""

    kind: PrepaidKind
    ladder: Ladder
    amounts: tuple[tuple[int, int], ...]
    intake: IntakeUnits


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One kind under both sides at some times of the week; break-even is None where one side buys nothing."""

    window: PairedWindow
    current: SideSales
    other: SideSales
    break_even: Fraction | None
    assumed: Assumed | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """What is assumed: the intake, the amounts to compare, an elasticity and a pace if stated."""

    intake: Intake
    amounts: Sequence[int]
    elasticity: Fraction | None = None
    minutes_a_game: int | None = None


def compare(windows: Sequence[PairedWindow], asked: WhatIf, *, work: Effort) -> list[Compared]:
    """Return every comparison of kinds in every window; refuse ``too_much_work``."""
    found = []
    for window in windows:
        for mine, theirs in _kinds(window, asked.minutes_a_game):
            steps = 2 * STEPS_OF_A_QUESTION * (len(asked.amounts) + len(asked.intake.counts) + 1)
            work.spend(steps, where="amounts", smaller="compare fewer amounts, or schedules with fewer windows")
            found.append(_compared(window, mine, theirs, asked))
    return found


def _kinds(window: PairedWindow, pace: int | None) -> Iterator[tuple[PrepaidKind, PrepaidKind]]:
    if window.current is None or window.other is None:
        return
    for mine in PREPAID_KINDS:
        for theirs in PREPAID_KINDS:
            if mine != theirs and pace is None:
                continue
            if getattr(window.current, mine) and getattr(window.other, theirs):
                yield mine, theirs


def _compared(window: PairedWindow, mine: PrepaidKind, theirs: PrepaidKind, asked: WhatIf) -> Compared:
    current, other = _sold(window.current, mine, asked), _sold(window.other, theirs, asked)
    units, instead = (_as_games(side, mine != theirs, asked.minutes_a_game) for side in (current, other))
    both = units > 0 and instead > 0
    return Compared(
        window=window,
        current=current,
        other=other,
        break_even=break_even_share(units, instead) if both else None,
        assumed=at_elasticity(units, instead, asked.elasticity) if both and asked.elasticity is not None else None,
    )


def _sold(tariff: Tariff | None, kind: PrepaidKind, asked: WhatIf) -> SideSales:
    ladder = None if tariff is None else getattr(tariff, kind)
    if ladder is None:
        raise ValueError(f"the tariff sells no {kind}")
    sales = [ladder.sell(amount) for amount in asked.amounts]
    return SideSales(
        kind=kind,
        ladder=ladder,
        amounts=tuple((sale.units, sale.left) for sale in sales),
        intake=bought(ladder, asked.intake.counts),
    )


def _as_games(side: SideSales, across: bool, pace: int | None) -> Fraction:
    """Return what the intake buys; in games where games are compared with minutes."""
    units = Fraction(side.intake.units)
    return units / pace if across and side.kind == "minutes" and pace is not None else units


def sentence_of(one: Compared, intake: Intake, currency: str) -> str:
    """Say what past intake would have bought under the other prices, and where they break even."""
    where = "" if one.window.when == ALL_WEEK else f"Priced as on {spoken(one.window.when)}, "
    money = f"{format_money(intake.total, currency)} {currency}"
    if not intake.total:
        where = "" if not where else f"{where.removeprefix('Priced as on ').removesuffix(', ')}: "
        return _sentence(f"{where}nothing was put in to compare by; {_first_prices(one, currency)}.")
    if one.break_even is None:
        return _sentence(f"{where}the {money} put in buys nothing under one of the two lists.")
    bought = f"{where}the {money} put in would have bought {count_in_words(one.other.intake.units, one.other.kind)}"
    if not one.break_even and one.current.kind == one.other.kind:
        return _sentence(f"{bought}, as many as now.")
    opening = _sentence(f"{bought} instead of {_current(one)}")
    if one.break_even > 0:
        return (
            f"{opening}: the other prices bring in more unless more than {percent(one.break_even)} % of play is lost."
        )
    if one.break_even < 0:
        return f"{opening}: the other prices bring in less unless play grows by more than {percent(-one.break_even)} %."
    return f"{opening}: the other prices bring in the same."


def _current(one: Compared) -> str:
    units = one.current.intake.units
    return str(units) if one.current.kind == one.other.kind else count_in_words(units, one.current.kind)


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _first_prices(one: Compared, currency: str) -> str:
    sides = [(side.ladder.rungs[0], side.kind) for side in (one.other, one.current)]
    words = [f"{format_money(rung.price, currency)} buys {count_in_words(rung.units, kind)}" for rung, kind in sides]
    return f"the first price of the other list: {words[0]}; of the current one: {words[1]}"


def whole_sentence(found: Sequence[Compared], windows: Sequence[PairedWindow], intake: Intake, currency: str) -> str:
    """Say it all in one sentence: for one comparison its own; for several, the least and the most that may be lost."""
    if not found:
        closed = all(window.current is None or window.other is None for window in windows)
        return (
            "One of the two sells nothing at any time of the week."
            if closed
            else "The two lists sell no kind in common: state minutes_a_game to compare games with minutes."
        )
    if len(found) == 1:
        return sentence_of(found[0], intake, currency)
    shares = [one.break_even for one in found if one.break_even is not None]
    if not shares:
        return f"Nothing was put in at that time to compare by; {len(found)} windows and kinds are listed."
    low, high = min(shares), max(shares)
    money = f"{format_money(intake.total, currency)} {currency} put in"
    if low == high == 0:
        return f"Under the other prices the {money} buys as much as now in every window."
    return f"Going by the {money}, {_play_may(low, high)}."


def _play_may(low: Fraction, high: Fraction) -> str:
    """Say by how much play may fall, or must grow, before the other prices bring in the same; shares of play."""
    which = "" if low == high else ", depending on the window and the kind"
    if low >= 0:
        return f"play may fall by {_from_to(low, high)} before the other prices bring in less{which}"
    if high <= 0:
        return f"play must grow by {_from_to(-high, -low)} before the other prices bring in more{which}"
    return (
        f"under the other prices play must grow by up to {percent(-low)} % in some windows and kinds, and may fall by up "
        f"to {percent(high)} % in others"
    )


def _from_to(low: Fraction, high: Fraction) -> str:
    if low == high:
        return f"{percent(high)} %"
    return f"{percent(low)} to {percent(high)} %" if low else f"up to {percent(high)} %"


def percent(share: Fraction) -> str:
    """Write a share in per cent, to one decimal."""
    tenths = round_half_up(share * 1000)
    return f"{'-' if tenths < 0 else ''}{abs(tenths) // 10}.{abs(tenths) % 10}"
