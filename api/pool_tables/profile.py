"""A table's profile against its venue's currency: what of it is money must be money of that currency.

Values in, values out. All mistakes are reported at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..pricing.errors import DomainError, Fault
from ..pricing.money import format_money, parse_money
from ..pricing.payable import next_payable

_MONEY_PLACES = (
    ("controller", "games", "price_step"),
    ("controller", "minutes", "price_step"),
    ("cash_box", "value_max"),
)


def normal_profile(profile: Mapping[str, Any], currency: str) -> dict[str, Any]:
    """Return a profile with its money in the currency's full decimals and its denominations ascending.

    Refuses (``bad_denomination``, ``denominations_too_complex``, ``bad_meter``, ``bad_money``) denominations of 0 or named
    twice, such as no amount can be made up of in reasonable time, a meter named twice, a money meter without the value of a count, and amounts that the currency does not have.
    """
    faults: list[Fault] = []
    normal = dict(profile)
    if "accepts" in profile:
        normal["accepts"] = _denominations(profile["accepts"], currency, faults)
    if "meters" in profile:
        normal["meters"] = [_meter(m, f"meters[{i}]", currency, faults) for i, m in enumerate(profile["meters"])]
        names = [meter["name"] for meter in profile["meters"]]
        for i, name in enumerate(names):
            if name in names[:i]:
                faults.append(Fault("bad_meter", f"meters[{i}].name", name, "a name that no other meter has"))
    for path in _MONEY_PLACES:
        _normalise(normal, path, currency, faults)
    if faults:
        raise DomainError(*faults)
    return normal


def _denominations(accepts: list[str], currency: str, faults: list[Fault]) -> list[str]:
    amounts: list[int] = []
    for i, text in enumerate(accepts):
        amount = _amount(text, f"accepts[{i}]", currency, faults)
        if amount is None:
            continue
        if amount == 0 or amount in amounts:
            found = "0" if amount == 0 else f"{text} again"
            faults.append(Fault("bad_denomination", f"accepts[{i}]", found, "a coin or note above 0, named once"))
        amounts.append(amount)
    coins = sorted(set(amounts) - {0})
    try:
        if coins:
            next_payable(tuple(coins), 1)
    except DomainError as error:
        faults.extend(error.faults)
    return [format_money(coin, currency) for coin in coins]


def _meter(meter: Mapping[str, Any], where: str, currency: str, faults: list[Fault]) -> dict[str, Any]:
    normal = dict(meter)
    if "unit_value" in meter:
        amount = _amount(meter["unit_value"], f"{where}.unit_value", currency, faults)
        normal["unit_value"] = None if amount is None else format_money(amount, currency)
        if amount == 0:
            faults.append(Fault("bad_meter", f"{where}.unit_value", "0", "what one count is worth, above 0"))
    elif meter["counts"] == "money":
        faults.append(Fault("bad_meter", f"{where}.unit_value", "nothing", "what one count of a money meter is worth"))
    return normal


def _normalise(normal: dict[str, Any], path: tuple[str, ...], currency: str, faults: list[Fault]) -> None:
    holder: Any = normal
    for name in path[:-1]:
        if not isinstance(holder.get(name), dict):
            return
        holder[name] = dict(holder[name])
        holder = holder[name]
    if isinstance(text := holder.get(path[-1]), str):
        amount = _amount(text, ".".join(path), currency, faults)
        holder[path[-1]] = None if amount is None else format_money(amount, currency)
        if amount == 0:
            faults.append(Fault("bad_money", ".".join(path), "0", "an amount above 0"))


def _amount(text: str, where: str, currency: str, faults: list[Fault]) -> int | None:
    try:
        return parse_money(text, currency, where=where)
    except DomainError as error:
        faults.extend(error.faults)
        return None
