"""An agreement as its message writes it: decimal strings and plain dates in, the values of ``agreement.py`` out.

- All mistakes of a body are reported at once, each with the place where it stands (``steps[1].venue_percent``) and
  with its amounts as the body writes them (E3).
- The shape (names, types, nothing unknown) has been checked before; what is read here are the values.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from fractions import Fraction
from typing import Any

from api.pricing.errors import Fault, PricingError, refuse
from api.pricing.money import in_currency, parse_money

from .agreement import Agreement, AmountTier, AmountTiers, Cap, FirstMoney, OperatorMinimum, WeekStep
from .percents import parse_percent

Body = Mapping[str, Any]


def read_agreement(body: Body, *, currency: str, id: str = "", version: int = 1) -> Agreement:
    """Return the agreement of a body; refuse it with every fault that its parts have, else those of the whole."""
    reader = _Reader(currency)
    terms: dict[str, Any] = {
        "effective_on": reader.part("effective_on", _date, body["effective_on"]),
        "venue_percent": reader.maybe("venue_percent", _percent, body),
        "steps": reader.parts("steps", _step, body),
        "amount_tiers": reader.maybe("amount_tiers", reader.amount_tiers, body),
        "first_money": reader.parts("first_money", reader.first_money, body),
        "operator_minimum": reader.maybe("operator_minimum", reader.operator_minimum, body),
        "loan_repay_percent": reader.maybe("loan_repay_percent", _percent, body) or Fraction(0),
        "cap": reader.maybe("cap", _cap, body),
    }
    reader.refuse_faults()
    plain = {name: body[name] for name in ("settles_on", "pays", "odd_unit_to") if name in body}
    return Agreement(**terms, **plain, id=id, version=version)


class _Reader:
    """Reads the parts of a body and keeps the faults of those that do not read."""

    def __init__(self, currency: str) -> None:
        self.currency = currency
        self.faults: list[Fault] = []

    def refuse_faults(self) -> None:
        if self.faults:
            raise PricingError(*self.faults)

    def part(self, where: str, read: Callable[[Any], Any], value: Any) -> Any:
        try:
            return read(value)
        except PricingError as error:
            self.faults += (in_currency(fault, self.currency) for fault in error.within(where).faults)
            return None

    def maybe(self, name: str, read: Callable[[Any], Any], body: Body) -> Any:
        return self.part(name, read, body[name]) if body.get(name) is not None else None

    def parts(self, name: str, read: Callable[[Any], Any], body: Body) -> tuple[Any, ...]:
        return tuple(self.part(f"{name}[{index}]", read, value) for index, value in enumerate(body.get(name) or ()))

    def amount_tiers(self, body: Body) -> AmountTiers:
        inner = _Reader(self.currency)
        tiers = inner.parts("tiers", self.tier, body)
        inner.refuse_faults()
        return AmountTiers(body["mode"], tiers)

    def tier(self, body: Body) -> AmountTier:
        return AmountTier(
            parse_money(body["from"], self.currency, where="from"),
            parse_percent(body["venue_percent"], where="venue_percent"),
        )

    def first_money(self, body: Body) -> FirstMoney:
        return FirstMoney(
            name=body["name"],
            amount=parse_money(body["amount"], self.currency, where="amount"),
            per=body["per"],
            starts_on=_date(body["starts_on"], where="starts_on"),
            spread=body.get("spread", False),
        )

    def operator_minimum(self, body: Body) -> OperatorMinimum:
        return OperatorMinimum(parse_money(body["amount"], self.currency, where="amount"), body["kind"])


def _step(body: Body) -> WeekStep:
    return WeekStep(body["from_week"], parse_percent(body["venue_percent"], where="venue_percent"))


def _cap(body: Body) -> Cap:
    percent = parse_percent(body["venue_percent_max"], where="venue_percent_max")
    return Cap(body["name"], percent, body.get("after", "first_money"))


def _percent(text: str) -> Fraction:
    return parse_percent(text, where="")


def _date(value: date | str, where: str = "") -> date:
    try:
        return value if isinstance(value, date) else date.fromisoformat(value)
    except ValueError:
        raise refuse(
            "bad_date", where=where, found=repr(str(value)[:40]), expected="a date such as 2026-12-01"
        ) from None
