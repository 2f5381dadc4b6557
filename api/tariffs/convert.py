"""The one translation between a tariff as it travels and is stored, and as the engine prices it.

All mistakes of a message are reported at once, each by its place, ``games.prices[1].units``, and each with its amounts
as the message writes them (E3), not in minor units.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Any, TypeVar
from uuid import UUID

from pydantic import MISSING

from ..pricing import Cap, DomainError, Fault, Ladder, Rate, Rung, Tariff, Tier, format_money, parse_money
from ..pricing import advice as ladder_advice
from ..pricing.counting_check import CountingCheck, RuledOut, Seen, prices_seen
from ..pricing.ladder import COUNTING_WORDS, WAYS_OF_COUNTING, Counting
from ..pricing.lines import Advice
from ..pricing.metered import metered_advice
from ..pricing.money import in_currency
from ..web.schema_types import value_or
from .schemas import (
    AdviceOut,
    CountingCandidateOut,
    CountingCheckIn,
    CountingCheckOut,
    CountingNextSumOut,
    CountingObservationIn,
    CountingOutcomeOut,
    CountingRuledOutOut,
    CountingSettingsIn,
    LadderIn,
    LadderOut,
    MaximumOut,
    MeteredIn,
    MeteredOut,
    PriceOut,
    TariffIn,
    TierOut,
)

T = TypeVar("T")


class _TariffReader:
    """Reads the parts of one message and collects what is wrong with them."""

    def __init__(self, currency: str) -> None:
        self.currency = currency
        self.faults: list[Fault] = []

    def tried(self, build: Callable[[], T], where: str) -> T | None:
        """Return what ``build`` builds, or note its faults as those of ``where``."""
        try:
            return build()
        except DomainError as error:
            faults = error.within(where).faults if where else error.faults
            self.faults.extend(in_currency(fault, self.currency) for fault in faults)
            return None

    def money(self, text: str, where: str) -> int:
        return self.tried(lambda: parse_money(text, self.currency, where=where), "") or 0

    def price(self, text: str, where: str) -> int:
        """Read an amount of money above 0."""
        before = len(self.faults)
        amount = self.money(text, where)
        if not amount and len(self.faults) == before:
            self.faults.append(Fault("bad_price", where, text, "more than 0"))
        return amount

    def ladder(self, message: LadderIn, where: str) -> Ladder | None:
        """Read a ladder; the amounts first, for without them its form cannot be judged."""
        before = len(self.faults)
        pays = [self.price(rung.price, f"{where}.prices[{i}].price") for i, rung in enumerate(message.prices)]
        if len(self.faults) > before:
            return None
        rungs = tuple(
            self.tried(lambda p=p, rung=rung: Rung(p, rung.units), f"{where}.prices[{i}]")  # type: ignore[misc]
            for i, (p, rung) in enumerate(zip(pays, message.prices, strict=True))
        )
        if None in rungs:
            return None
        return self.tried(lambda: Ladder(rungs, value_or(message.counting, "repeat")), where)  # type: ignore[arg-type]

    def metered(self, message: MeteredIn, where: str) -> Rate | None:
        """Read a metered rate."""
        before = len(self.faults)
        amounts = [self.money(tier.price, f"{where}.tiers[{i}].price") for i, tier in enumerate(message.tiers)]
        fee = self.money(value_or(message.start_fee, "0"), f"{where}.start_fee")
        least = self.money(value_or(message.minimum, "0"), f"{where}.minimum")
        cap = value_or(message.maximum, None)
        most = cap and self.money(cap.amount, f"{where}.maximum.amount")
        if len(self.faults) > before:
            return None

        def build() -> Rate:
            tiers = tuple(
                Tier(tier.from_minutes, price, value_or(tier.per_minutes, None), value_or(tier.step_minutes, None))
                for tier, price in zip(message.tiers, amounts, strict=True)
            )
            return Rate(
                tiers=tiers,
                tier_mode=value_or(message.tier_mode, "add"),
                start_fee=fee,
                per=value_or(message.per, "table"),
                minimum=least,
                maximum=None if cap is None or most is None else Cap(most, value_or(cap.per_minutes, None)),
            )

        return self.tried(build, where)


def read_tariff(message: TariffIn, *, id: UUID | None = None, version: int = 0) -> Tariff:
    """Return the engine's value of a tariff; refuse with all that is wrong with it."""
    reader = _TariffReader(message.currency)
    if reader.tried(lambda: parse_money("0", message.currency), "") is None:
        raise DomainError(*reader.faults)
    games, minutes, metered = (
        value_or(message.games, None),
        value_or(message.minutes, None),
        value_or(message.metered, None),
    )
    parts: dict[str, Any] = {
        "games": games and reader.ladder(games, "games"),
        "minutes": minutes and reader.ladder(minutes, "minutes"),
        "metered": metered and reader.metered(metered, "metered"),
    }
    if reader.faults:
        raise DomainError(*reader.faults)
    return Tariff(
        message.currency,
        **parts,
        free=bool(value_or(message.free, False)),
        id=str(id or ""),
        code=message.code,
        version=version,
    )


def advise(tariff: Tariff) -> tuple[Advice, ...]:
    """Return all there is to say about a tariff (P8)."""
    said: tuple[Advice, ...] = ()
    if tariff.games:
        said += ladder_advice(tariff.games, "games", tariff.currency)
    if tariff.minutes:
        said += ladder_advice(tariff.minutes, "minutes", tariff.currency)
    if tariff.metered:
        said += metered_advice(tariff.metered, currency=tariff.currency)
    return said


def ladder_out(ladder: Ladder, currency: str) -> LadderOut:
    """Write a ladder as its message."""
    rungs = [PriceOut(price=format_money(rung.price, currency), units=rung.units) for rung in ladder.rungs]
    return LadderOut(prices=rungs, counting=ladder.counting)


def metered_out(rate: Rate, currency: str) -> MeteredOut:
    """Write a metered rate as its message."""
    cap = rate.maximum
    return MeteredOut(
        start_fee=format_money(rate.start_fee, currency),
        tier_mode=rate.tier_mode,
        per=rate.per,
        tiers=[
            TierOut(
                from_minutes=tier.from_minutes,
                price=format_money(tier.price, currency),
                per_minutes=tier.per_minutes,
                step_minutes=tier.step if tier.per_minutes is not None else None,
            )
            for tier in rate.tiers
        ],
        minimum=format_money(rate.minimum, currency),
        maximum=cap and MaximumOut(amount=format_money(cap.amount, currency), per_minutes=cap.per_minutes),
    )


def advice_out(advice: Advice, currency: str) -> AdviceOut:
    """Write a piece of advice as its message."""
    amount, instead = advice.amount, advice.instead_amount
    return AdviceOut(
        code=advice.code,
        kind=advice.kind,
        detail=advice.detail,
        amount=None if amount is None else format_money(amount, currency),
        units=advice.units,
        instead_amount=None if instead is None else format_money(instead, currency),
        instead_units=advice.instead_units,
        parts=[format_money(part, currency) for part in advice.parts],
    )


def tariff_values(tariff: Tariff) -> dict[str, Any]:
    """Return the prices of a tariff as the fields of its message."""
    return {
        "currency": tariff.currency,
        "free": tariff.free,
        "games": tariff.games and ladder_out(tariff.games, tariff.currency),
        "minutes": tariff.minutes and ladder_out(tariff.minutes, tariff.currency),
        "metered": tariff.metered and metered_out(tariff.metered, tariff.currency),
    }


@dataclass(frozen=True, slots=True)
class CountingQuestion:
    """A question about the way of counting as the engine takes it.

    ``candidates``: each ladder and the index of the settings that it comes from, None where prices are read from the
    observations. ``impossible``: settings in a way of counting that makes no ladder of them, and why. ``places``: the
    purchase and the coin of each observation.
    """

    candidates: dict[Ladder, int | None]
    impossible: list[tuple[int, Counting, str]]
    seen: list[Seen]
    places: list[tuple[int, int]]
    accepts: tuple[int, ...] | None


def read_counting_check(message: CountingCheckIn) -> CountingQuestion:
    """Return the engine's values of what somebody saw; refuse with all that is wrong with it."""
    reader = _TariffReader(message.currency)
    if reader.tried(lambda: parse_money("0", message.currency), "") is None:
        raise DomainError(*reader.faults)
    seen, places = _read_seen(message.observations, reader)
    accepted: list[str] = value_or(message.accepts, [])
    coins = [reader.price(text, f"accepts[{i}]") for i, text in enumerate(accepted)]
    sent: list[CountingSettingsIn] = value_or(message.settings, [])
    candidates: dict[Ladder, int | None] = {}
    impossible: list[tuple[int, Counting, str]] = []
    for index, settings in enumerate(sent):
        known = value_or(settings.counting, None)
        for way in WAYS_OF_COUNTING if known is None else (known,):
            trial = reader if known else _TariffReader(message.currency)
            ladder = trial.ladder(LadderIn(prices=settings.prices, counting=way), f"settings[{index}]")
            if ladder:
                candidates.setdefault(ladder, index)
            elif known is None and all(fault.code == "price_break_worse" for fault in trial.faults):
                impossible.append((index, way, str(trial.faults[0])))
            elif known is None and way == WAYS_OF_COUNTING[0]:
                reader.faults += trial.faults
    if reader.faults:
        raise DomainError(*reader.faults)
    if message.settings is MISSING:
        candidates = dict.fromkeys(prices_seen(seen))
    return CountingQuestion(candidates, impossible, seen, places, tuple(coins) or None)


def _read_seen(
    observations: Sequence[CountingObservationIn], reader: _TariffReader
) -> tuple[list[Seen], list[tuple[int, int]]]:
    seen: list[Seen] = []
    places: list[tuple[int, int]] = []
    for index, one in enumerate(observations):
        where = f"observations[{index}]"
        coins = [reader.price(text, f"{where}.inserted[{i}]") for i, text in enumerate(one.inserted)]
        if len(one.shown) not in (1, len(coins)):
            expected = f"1 number, or {len(coins)}: one after each coin"
            reader.faults.append(Fault("invalid", f"{where}.shown", f"{len(one.shown)} numbers", expected))
            continue
        totals = list(accumulate(coins))[-len(one.shown) :]
        seen += [Seen(money, units) for money, units in zip(totals, one.shown, strict=True)]
        places += [(index, coin) for coin in range(len(coins) - len(one.shown), len(coins))]
    return seen, places


def counting_check_out(check: CountingCheck, question: CountingQuestion, message: CountingCheckIn) -> CountingCheckOut:
    """Write which ways of counting fit, what rules out the others, and the next sum."""
    currency = message.currency

    def candidate(ladder: Ladder) -> dict[str, Any]:
        prices = ladder_out(ladder, currency).prices
        return {"settings": question.candidates[ladder], "counting": ladder.counting, "prices": prices}

    def ruled_out(row: RuledOut) -> CountingRuledOutOut:
        one, (purchase, coin) = question.seen[row.seen], question.places[row.seen]
        money = format_money(one.money, currency)
        detail = f"{money} showed {one.units}; counted this way ({COUNTING_WORDS[row.ladder.counting]}) it shows {row.expected}."
        return CountingRuledOutOut(
            **candidate(row.ladder),
            detail=detail,
            observation=purchase,
            coin=coin,
            money=money,
            shown=one.units,
            expected=row.expected,
        )

    def impossible(index: int, way: Counting, why: str) -> CountingRuledOutOut:
        sent: list[CountingSettingsIn] = value_or(message.settings, [])
        prices = [
            PriceOut(price=format_money(parse_money(one.price, currency), currency), units=one.units)
            for one in sent[index].prices
        ]
        nothing = dict.fromkeys(("observation", "coin", "money", "shown", "expected"))
        return CountingRuledOutOut(settings=index, counting=way, prices=prices, detail=why, **nothing)

    at = {ladder: index for index, ladder in enumerate(check.fits)}
    following = None
    if check.next_sum:
        outcomes = [
            CountingOutcomeOut(units=units, fits=[at[ladder] for ladder in ladders])
            for units, ladders in check.next_sum.outcomes
        ]
        following = CountingNextSumOut(money=format_money(check.next_sum.money, currency), outcomes=outcomes)
    return CountingCheckOut(
        detail=_counting_in_words(len(check.fits), following),
        fits=[CountingCandidateOut(**candidate(ladder)) for ladder in check.fits],
        ruled_out=[*map(ruled_out, check.ruled_out), *(impossible(*row) for row in question.impossible)],
        next_sum=following,
    )


def _counting_in_words(fits: int, following: CountingNextSumOut | None) -> str:
    if following:
        return f"{fits} ways fit. Start a new purchase and put in {following.money}: the number shown tells them apart."
    if fits > 1:
        return f"{fits} ways fit, and no sum tells them apart: for these prices they sell the same."
    return (
        "One way fits." if fits else "No way fits: check the prices and the sums, and that each purchase started empty."
    )
