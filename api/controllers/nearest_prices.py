"""The nearest prices that a controller can hold to those of a tariff, and every difference between the two.

- S2: each difference is a ``Limitation``: what the tariff asks, what the controller allows, what would have to change, what
  the table does instead, and what that gives away or takes. Nothing is silently dropped.

In this order, so that the same tariff always gives the same prices:

1. a kind that the controller does not sell is not sold; metered time never is; free play only where there is a setting;
   money is counted the controller's way (P1);
2. prices and units go to the nearest step, a tie in the player's favour; a rung whose units then are below the least or
   above the most is dropped, unless none is left: then the first is brought to the least or the most;
3. a rung that then no longer rises, or gives less than those below it (P3), is dropped; of two at one price the higher stays;
4. of too many rungs the one goes, again and again, without which the units at the tariff's own rungs change least
   (a tie drops the highest); the first rung, the plain price, stays;
5. of two kinds where only one can be sold at once, games stay.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from ..pool_tables.controller import Controller, Limits
from ..pricing.errors import DomainError
from ..pricing.ladder import COUNTING_WORDS, Counting, Ladder, Rung, count_in_words
from ..pricing.lines import Kind
from ..pricing.money import format_money
from ..pricing.tariff import Tariff
from .week_settings import NOTHING, Prices
from .wrong_purchases import WrongPurchase, effects


@dataclass(frozen=True, slots=True)
class Limitation:
    """One thing that the controller cannot hold: a code, and in words what is asked, allowed, to change, done instead."""

    code: str
    sells: Kind | None
    found: str
    limit: str
    change: str
    instead: str
    effects: tuple[WrongPurchase, ...] = ()


@lru_cache(maxsize=1024)
def nearest_prices(tariff: Tariff | None, controller: Controller) -> tuple[Prices, tuple[Limitation, ...]]:
    """Return what the controller can sell nearest to ``tariff`` (None: closed, which every controller holds)."""
    if tariff is None:
        return NOTHING, ()
    if tariff.free:
        return (Prices(free=True), ()) if controller.free else (NOTHING, (_NO_FREE_PLAY,))
    limitations = [_NO_METERED_TIME] if tariff.metered else []
    games, of_games = _nearest_ladder(tariff.games, "games", controller, tariff.currency)
    minutes, of_minutes = _nearest_ladder(tariff.minutes, "minutes", controller, tariff.currency)
    limitations += [*of_games, *of_minutes]
    if games and minutes and not controller.kinds_at_once:
        limitations.append(_one_kind(minutes))
        minutes = None
    return Prices(games, minutes), tuple(limitations)


_NO_FREE_PLAY = Limitation(
    "free_play_not_held",
    None,
    "free play",
    "no setting for free play",
    "a tariff with prices, or a closed window, in its place",
    "the table sells nothing; somebody starts play by hand",
)
_NO_METERED_TIME = Limitation(
    "metered_time_not_held",
    "metered",
    "time paid afterwards",
    "the controller sells for money put in first",
    "minutes sold by a ladder in its place",
    "the table sells no time of this kind; somebody keeps the time and takes the money",
)


def _one_kind(minutes: Ladder) -> Limitation:
    return Limitation(
        "one_kind_at_once",
        "minutes",
        "games and minutes",
        "one kind at once",
        "a tariff that sells games or minutes, not both",
        "games are sold, minutes are not",
        effects("minutes", wanted=minutes, found=None),
    )


def _nearest_ladder(
    wanted: Ladder | None, kind: Kind, controller: Controller, currency: str
) -> tuple[Ladder | None, list[Limitation]]:
    limits = controller.limits(kind)
    if wanted is None:
        return None, []
    if not limits.sold:
        change = f"a tariff that does not sell {kind}, or another controller"
        found, limit = f"{kind} sold", f"no {kind}"
        return None, [
            Limitation(
                "kind_not_held",
                kind,
                found,
                limit,
                change,
                f"{kind} are not sold",
                effects(kind, wanted=wanted, found=None),
            )
        ]
    counting = controller.counting or wanted.counting
    stepped, limitations = _on_steps(wanted, kind, limits, counting, currency)
    held, dropped = _few_enough(stepped, kind, limits, currency)
    if controller.counting is None and len(held.rungs) == 1:
        held = replace(held, counting="repeat")
    return held, [*limitations, *dropped, *_counting_differs(wanted, held, kind)]


def _on_steps(
    wanted: Ladder, kind: Kind, limits: Limits, counting: Counting, currency: str
) -> tuple[Ladder, list[Limitation]]:
    """Bring every rung to the nearest price and units; drop those that then no longer make a ladder."""
    limitations: list[Limitation] = []
    kept: list[Rung] = []
    some_fit = any(limits.reaches(rung.units) for rung in wanted.rungs)
    for number, rung in enumerate(wanted.rungs):
        if (some_fit or number) and not limits.reaches(rung.units):
            limitations.append(_dropped("units_out_of_bounds", rung, kind, _bounds(limits), currency))
            continue
        near = Rung(limits.nearest_price(rung.price), limits.nearest_units(rung.units))
        limitations += _off_step(rung, near, kind, limits, currency)
        below = kept[:-1] if kept and kept[-1].price == near.price else kept
        if _is_ladder((*below, near), counting):
            if len(below) < len(kept):
                limitations.append(
                    _dropped("price_too_close", kept[-1], kind, "another price for the same money", currency)
                )
            kept = [*below, near]
        else:
            limit = "prices that rise, none giving less than the lower ones"
            limitations.append(_dropped("price_too_close", near, kind, limit, currency))
    held = Ladder(tuple(kept), counting)
    return held, [replace(limitation, effects=effects(kind, wanted=wanted, found=held)) for limitation in limitations]


def _off_step(rung: Rung, near: Rung, kind: Kind, limits: Limits, currency: str) -> list[Limitation]:
    limitations = []
    asked = f"{format_money(rung.price, currency)} for {count_in_words(rung.units, kind)}"
    instead = f"{format_money(near.price, currency)} for {count_in_words(near.units, kind)} is keyed"
    if near.price != rung.price:
        step = format_money(limits.price_step, currency)
        change = f"a price that is a multiple of {step}, such as {format_money(near.price, currency)}"
        limitations.append(Limitation("price_off_step", kind, asked, f"prices in steps of {step}", change, instead))
    if near.units != rung.units:
        change = f"{kind} within these limits, such as {near.units}"
        limitations.append(Limitation("units_off_step", kind, asked, _bounds(limits), change, instead))
    return limitations


def _bounds(limits: Limits) -> str:
    most = f"to {limits.units_max}" if limits.units_max is not None else "up"
    return f"from {limits.units_min} {most} in steps of {limits.units_step}"


def _few_enough(wanted: Ladder, kind: Kind, limits: Limits, currency: str) -> tuple[Ladder, list[Limitation]]:
    most, held, dropped = limits.prices_max, wanted, list[Rung]()
    bought = {rung.price: wanted.total(rung.price) for rung in wanted.rungs}
    while most is not None and len(held.rungs) > most:
        held, rung = _without_one(bought, held)
        dropped.append(rung)
    lost = effects(kind, wanted=wanted, found=held)
    limit = f"at most {most} price{'' if most == 1 else 's'} for {kind}"
    return held, [
        replace(_dropped("too_many_prices", rung, kind, limit, currency), effects=lost)
        for rung in sorted(dropped, key=lambda rung: rung.price)
    ]


def _without_one(wanted: Mapping[int, int], held: Ladder) -> tuple[Ladder, Rung]:
    """Return the ladder ``held`` without the rung that goes first, and the rung.

    ``wanted``: the units that each of the tariff's own prices should buy.
    Without a rung only that money buys something else which buys the rung; without the top of a climb, all from the next rung on.
    """
    rungs = held.rungs
    places = {rung: place for place, rung in enumerate(rungs)}
    changes = [0] * len(rungs)
    for price, units in wanted.items():
        sale = held.sell(price)
        bought = {places[sold.rung] for sold in sale.sold}
        if held.counting == "climb" and price >= rungs[-2].price:
            bought.add(len(rungs) - 1)
        for place in bought - {0}:
            without = held.total_without(place, price)
            changes[place] += abs(units - without) - abs(units - sale.units)
    for place in sorted(range(1, len(rungs)), key=lambda place: (changes[place], -place)):
        left = (*rungs[:place], *rungs[place + 1 :])
        try:
            return Ladder(left, held.counting), rungs[place]
        except DomainError:
            continue
    raise RuntimeError("a ladder without its highest price is a ladder")


def _dropped(code: str, rung: Rung, kind: Kind, limit: str, currency: str) -> Limitation:
    price = f"{format_money(rung.price, currency)} for {count_in_words(rung.units, kind)}"
    instead = f"{price} is not keyed; the other prices apply to this money"
    return Limitation(code, kind, price, limit, f"a tariff without {price}", instead)


def _counting_differs(wanted: Ladder, held: Ladder, kind: Kind) -> list[Limitation]:
    """Say that the controller counts the prices it holds in another way than the tariff, at the amounts that show it."""
    as_wanted = Ladder(held.rungs, wanted.counting) if _is_ladder(held.rungs, wanted.counting) else wanted
    if held.counts_as == as_wanted.counts_as:
        return []
    above, top = [rung.price for rung in held.rungs[1:]], held.rungs[-1].price
    shown_at = [*(price + above[0] for price in above), *(top + price for price in above)]
    return [
        Limitation(
            "counting_differs",
            kind,
            COUNTING_WORDS[wanted.counting],
            COUNTING_WORDS[held.counting],
            f"a tariff whose {kind} have counting: {held.counting}",
            COUNTING_WORDS[held.counting],
            effects(kind, wanted=as_wanted, found=held, amounts=shown_at),
        )
    ]


def _is_ladder(rungs: tuple[Rung, ...], counting: Counting) -> bool:
    try:
        Ladder(rungs, counting)
    except DomainError:
        return False
    return True
