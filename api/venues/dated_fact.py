"""Facts of a venue that hold from a date on: its tax area, legal name, payee and tax number (D3, L6).

- A fact holds from its trading date until the next one of its name begins; without a date it has held since ever.
- Of two that begin on one date, the one recorded later holds. What was recorded is never changed: a correction is a
  later fact from the same date.
- A statement names the payee of its own period, a settlement the tax area of its own trading date.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal, get_args

FactName = Literal["tax_area", "legal_name", "payee", "tax_number"]

FACT_NAMES: tuple[FactName, ...] = get_args(FactName)

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class DatedFact:
    """One value from a trading date on (None: since ever); ``value`` None or empty: there is none."""

    name: FactName
    from_on: date | None
    sequence: int
    value: str | None


@dataclass(frozen=True, slots=True)
class Payee:
    """Whom a venue's money goes to: the venue's legal name, who is paid (empty: the legal name), the tax number."""

    legal_name: str
    payee: str
    tax_number: str


@dataclass(frozen=True, slots=True)
class PayeeSpell:
    """A payee from a date to a date, both included."""

    from_on: date
    to_on: date
    payee: Payee


def value_on(facts: Sequence[DatedFact], name: FactName, on: date) -> str | None:
    """Return the value of a fact on a trading date, or None where there is none."""
    begun = [fact for fact in facts if fact.name == name and (fact.from_on or date.min) <= on]
    last = max(begun, key=lambda fact: (fact.from_on or date.min, fact.sequence), default=None)
    return None if last is None else last.value


def payee_on(facts: Sequence[DatedFact], on: date) -> Payee:
    """Return whom a venue's money goes to on a trading date; what is not known is empty."""
    legal_name = value_on(facts, "legal_name", on) or ""
    return Payee(legal_name, value_on(facts, "payee", on) or legal_name, value_on(facts, "tax_number", on) or "")


def payee_spells(facts: Sequence[DatedFact], *, from_on: date, to_on: date) -> tuple[PayeeSpell, ...]:
    """Return the payees of a period in turn, each with its dates inside it; together they cover the period."""
    begins = {fact.from_on for fact in facts if fact.from_on is not None and from_on < fact.from_on <= to_on}
    spells: list[PayeeSpell] = []
    for begin in (from_on, *sorted(begins)):
        payee = payee_on(facts, begin)
        if spells and spells[-1].payee == payee:
            continue
        if spells:
            spells[-1] = PayeeSpell(spells[-1].from_on, begin - _DAY, spells[-1].payee)
        spells.append(PayeeSpell(begin, to_on, payee))
    return tuple(spells)
