"""Explains a proposed ladder line by line, and what it gives up against the other ladders that meet the aims."""

from __future__ import annotations

from fractions import Fraction

from ..pricing import format_money
from ..pricing.ladder import count_in_words
from ..pricing.lines import PrepaidKind
from ..pricing.money import round_half_up
from .ladder_search import Aims, LadderMeasure, LaddersFound, Measured, an_hour

WHY: dict[LadderMeasure, str] = {
    "an_hour": "Brings the most an hour at full use.",
    "bonus": "Gives players the most for the notes that they put in.",
    "few_coins": "Takes the fewest coins and notes for the first price.",
    "few_prices": "Has the fewest prices to key.",
}
PROPOSAL_CANNOT_KNOW = (
    "How much is played at these prices: an hour at full use is played without a break.",
    "How players take to them; compare a proposal with today's prices in POST /v1/reports/what-if.",
)
"""What a search for prices cannot show."""


def sentence(found: LaddersFound, proposed: int) -> str:
    """Say how many ladders meet the aims."""
    if not found.met:
        return f"No ladder of {found.searched} meets all aims: lower least_an_hour, or allow a higher first price."
    meet = f"{found.met} {'meets' if found.met == 1 else 'meet'}"
    best = "1 is proposed, the best" if proposed == 1 else f"{proposed} are proposed, each the best"
    return f"Of {found.searched} ladders tried, {meet} the aims; {best} by a measure."


def ladder_lines(one: Measured, aims: Aims, kind: PrepaidKind, currency: str) -> list[str]:
    """Explain a ladder: each price by what an hour of it brings, each note by what it buys, then what to key."""
    said = [
        f"{format_money(rung.price, currency)} buys {count_in_words(rung.units, kind)}: "
        f"{_rate(an_hour(aims, rung), currency)} an hour at full use."
        for rung in one.ladder.rungs
    ]
    said += [
        f"A {format_money(note, currency)} buys {count_in_words(one.ladder.total(note), kind)}, and nothing is left."
        for note in aims.notes
    ]
    coins = -one.few_coins
    first = format_money(one.ladder.rungs[0].price, currency)
    said.append(f"{first} is paid with {coins} {'coin or note' if coins == 1 else 'coins and notes'} at least.")
    count = len(one.ladder.rungs)
    return [*said, f"{count} {'price' if count == 1 else 'prices'} to key, on the controller's steps."]


def gives_up(one: Measured, found: LaddersFound, currency: str) -> list[str]:
    """Say by which measures another ladder that meets the aims is better, and by how much."""
    said = []
    best = {measure: getattr(measured, measure) for measure, measured in found.best.items()}
    if one.an_hour < best["an_hour"]:
        most, mine = _rate(best["an_hour"], currency), _rate(one.an_hour, currency)
        said.append(f"An hour at full use brings at least {mine}; another ladder brings {most}.")
    if one.bonus < best["bonus"]:
        mine = f"{_percent(one.bonus)} % more" if _percent(one.bonus) else "no more"
        said.append(
            f"A note buys {mine} than at the first price; with another ladder {_percent(best['bonus'])} % more."
        )
    if one.few_coins < best["few_coins"]:
        said.append(f"The first price takes {-one.few_coins} coins and notes; another takes {-best['few_coins']}.")
    if one.few_prices < best["few_prices"]:
        said.append(f"It has {-one.few_prices} prices to key; another has {-best['few_prices']}.")
    return said


def _rate(amount: Fraction, currency: str) -> str:
    return format_money(round_half_up(amount), currency)


def _percent(share: Fraction) -> int:
    return round_half_up(share * 100)
