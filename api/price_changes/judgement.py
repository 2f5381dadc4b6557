"""Puts the effect of a change of prices into one sentence, and says why nobody can tell where nobody can (N3)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from ..earnings.before_and_after import MIN_TABLES, MIN_WEEKS, Effect, TableWeeks, price_change_effect
from ..pricing import format_money
from ..pricing.money import round_half_up
from .panel import Weeks

EFFECT_CANNOT_KNOW = (
    "A season, an event or a new competitor that met only the tables that changed, or only the others.",
    "Whether the tables that changed were chosen because they did well, or badly.",
    "Play that moved from a table that changed to one that did not.",
    "What happens later than the weeks that were looked at: players get used to prices.",
)
"""What the figures of a change of prices cannot show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """The effect on takings (minor units a week and table) and on games, each None where one side has no such tables."""

    sentence: str
    takings: Effect | None
    games: Effect | None


def judge_effect(changed: Sequence[Weeks], beside: Sequence[Weeks], currency: str) -> Judged:
    """Return what a change of prices did to takings and games, in one sentence."""
    takings = price_change_effect(*(_sides(tables, "takings") for tables in (changed, beside)))
    with_games = [[table for table in tables if any(table.games.values())] for tables in (changed, beside)]
    games = price_change_effect(*(_sides(tables, "games") for tables in with_games))
    return Judged(sentence=_sentence(changed, beside, takings, currency), takings=takings, games=games)


def has_both_sides(table: Weeks) -> bool:
    """Tell whether a table has enough weeks before and after the change to count."""
    return all(len(table.side(table.takings, after=after)) >= MIN_WEEKS for after in (False, True))


def _sides(tables: Sequence[Weeks], name: str) -> list[TableWeeks]:
    return [TableWeeks(*(table.side(getattr(table, name), after=after) for after in (False, True))) for table in tables]


def _sentence(changed: Sequence[Weeks], beside: Sequence[Weeks], effect: Effect | None, currency: str) -> str:
    if effect is None or effect.interval is None:
        return f"Cannot tell whether the change paid: {_what_is_missing(changed, beside)}."
    low, high = effect.interval
    if effect.verdict == "cannot_tell":
        return (
            "Cannot tell whether the change paid: it brought between "
            f"{_by(low, currency)} and {_by(high, currency)} per table and week."
        )
    near, far = sorted((abs(low), abs(high)))
    return (
        f"The change brought {_by(effect.effect, currency)} per table and week than no change: "
        f"between {_money(near, currency)} and {_money(far, currency)} {effect.verdict}, at nine chances in ten."
    )


def _what_is_missing(changed: Sequence[Weeks], beside: Sequence[Weeks]) -> str:
    for name, tables in (("that changed", changed), ("that did not change", beside)):
        counting = sum(map(has_both_sides, tables))
        if counting < MIN_TABLES:
            so_far = {0: "there are none yet", 1: "there is 1"}.get(counting, f"there are {counting}")
            return (
                f"it takes at least {MIN_TABLES} tables {name}, each with {MIN_WEEKS} whole collected weeks before and "
                f"after the change; {so_far}"
            )
    raise ValueError("both sides have enough tables")


def _by(amount: float, currency: str) -> str:
    return f"{_money(abs(amount), currency)} {currency} {'less' if amount < 0 else 'more'}"


def _money(amount: float, currency: str) -> str:
    return format_money(minor(amount), currency)


def minor(amount: float) -> int:
    """Return an estimate as whole minor units, halves up."""
    return round_half_up(Fraction(amount))
