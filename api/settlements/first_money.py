"""First money: the operator's money that falls due in a period, before anything is split (D, step 4).

- A period reaches from the day after ``after_on`` to ``until_on``, both trading dates; what was reckoned up to a date
  is never reckoned again. Two collections on one date share the period's money: the second claims nothing of it.
- Per collection: each collection from ``starts_on`` on. Once: on ``starts_on``.
- Per week, month or year: on ``starts_on`` and every seven days, same day of the month, or same date after it; the
  31st means the last day of a shorter month, and the 31st again in the next that has one.
- Spread: each day of a period brings its part; the parts up to any day are rounded half-up together, so that a whole
  period comes to exactly its amount.
- A version's first money falls due only while the version holds; a ``starts_on`` before that only fixes its rhythm.
- What falls due is claimed at the next collection; what the money does not reach is carried forward (D2).
- Periodic first money is reckoned once for each trading date. A settlement reckons every date up to its own that no
  other settlement has reckoned; a reversal leaves its dates to the next.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from itertools import count, takewhile
from typing import Literal

from ..pricing.errors import domain_error
from ..pricing.money import round_half_up
from .agreement import Agreement, FirstMoney, in_force
from .carried_forward import Claim

DUE_AT_ONCE_MAX = 2_000
"""Claims that a settlement can hold well within a second: one a week for 38 years, or ten for almost four."""
_MONTHS = {"month": 1, "year": 12}

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Period:
    """Trading dates from the day after ``after_on`` (None: from the first) to ``until_on``."""

    after_on: date | None
    until_on: date


def first_money_due(versions: Sequence[Agreement], *, after_on: date | None, until_on: date) -> tuple[Claim, ...]:
    """Return what falls due from the day after ``after_on`` to ``until_on``, where a collection is settled.

    ``versions`` are the venue's agreements; ``after_on`` is the last trading date already reckoned, or None.
    """
    holding = in_force(versions, on=until_on)
    claims: list[Claim] = []
    for agreement, first_on, last_on in _spells(versions, until_on=until_on):
        begin_on = first_on if after_on is None else max(first_on, after_on + _DAY)
        for item in agreement.first_money:
            if item.per == "collection":
                if agreement is holding and item.starts_on <= until_on:
                    claims.append(Claim("first_money", item.amount, until_on, item.name))
            elif begin_on <= last_on:
                claims += _falls_due(item, begin_on=begin_on, last_on=last_on)
    return tuple(sorted(claims, key=lambda claim: claim.due_on))


def check_due_at_once(agreement: Agreement, *, until_on: date) -> None:
    """Refuse (``too_much_work``) an agreement so far back that the next collection would claim too many periods."""
    last, before = until_on, agreement.effective_on - _DAY
    found = sum(
        max(_period_of(item, last) + 1, 0) - max(_period_of(item, before) + 1, 0)
        for item in agreement.first_money
        if item.per in ("week", "month", "year") and not item.spread and last > before
    )
    if found > DUE_AT_ONCE_MAX:
        raise domain_error(
            "too_much_work",
            where="first_money",
            found=f"{found} periods up to today, each a claim of the next collection",
            expected=f"at most {DUE_AT_ONCE_MAX}: a later effective_on, fewer items, or longer periods",
        )


def unreckoned(reckoned: Iterable[Period], *, until_on: date) -> tuple[Period, ...]:
    """Return the trading dates up to ``until_on`` that lie in none of the periods."""
    gaps: list[Period] = []
    edge = date.min
    for period in sorted(reckoned, key=lambda period: period.after_on or date.min):
        after_on = min(period.after_on or date.min, until_on)
        if after_on > edge:
            gaps.append(Period(_after(edge), after_on))
        edge = max(edge, period.until_on)
    if edge < until_on:
        gaps.append(Period(_after(edge), until_on))
    return tuple(gaps)


def due(versions: Sequence[Agreement], periods: Sequence[Period], *, on: date) -> tuple[Claim, ...]:
    """Return the first money that a settlement on a trading date claims: that of these periods, and its own."""
    own = first_money_due(_only(versions, "collection"), after_on=on, until_on=on)
    periodic = _only(versions, "period")
    found = [first_money_due(periodic, after_on=period.after_on, until_on=period.until_on) for period in periods]
    return tuple(sorted((*(claim for claims in found for claim in claims), *own), key=lambda claim: claim.due_on))


def _only(versions: Sequence[Agreement], what: Literal["collection", "period"]) -> list[Agreement]:
    return [
        replace(
            agreement,
            first_money=tuple(
                item for item in agreement.first_money if (item.per == "collection") == (what == "collection")
            ),
        )
        for agreement in versions
    ]


def _after(edge: date) -> date | None:
    return None if edge == date.min else edge


def _spells(versions: Sequence[Agreement], *, until_on: date) -> Iterator[tuple[Agreement, date, date]]:
    """Yield each version that held at some time up to ``until_on``, with its first and last trading date there."""
    begun = sorted({agreement.effective_on for agreement in versions if agreement.effective_on <= until_on})
    for first_on, next_on in zip(begun, [*begun[1:], until_on + _DAY], strict=True):
        agreement = in_force(versions, on=first_on)
        if agreement is not None:
            yield agreement, first_on, next_on - _DAY


def _falls_due(item: FirstMoney, *, begin_on: date, last_on: date) -> list[Claim]:
    if item.spread:
        amount = _accrued(item, last_on) - _accrued(item, begin_on - _DAY)
        return [Claim("first_money", amount, last_on, item.name)] if amount else []
    first = 0 if item.per == "once" else max(0, _period_of(item, begin_on))
    starts = [item.starts_on] if item.per == "once" else takewhile(lambda on: on <= last_on, _starts(item, first))
    return [Claim("first_money", item.amount, on, item.name) for on in starts if begin_on <= on <= last_on]


def _accrued(item: FirstMoney, through_on: date) -> int:
    """Return what the days from ``starts_on`` to ``through_on``, inclusive, come to together."""
    if through_on < item.starts_on:
        return 0
    period = _period_of(item, through_on)
    this_on, next_on = _start(item, period), _start(item, period + 1)
    part = Fraction((through_on - this_on).days + 1, (next_on - this_on).days)
    return item.amount * period + round_half_up(item.amount * part)


def _starts(item: FirstMoney, first: int) -> Iterator[date]:
    return (_start(item, period) for period in count(first))


def _period_of(item: FirstMoney, on: date) -> int:
    """Return the number of the period that holds a date, below zero before the first."""
    if item.per == "week":
        return (on - item.starts_on).days // 7
    months = (on.year - item.starts_on.year) * 12 + on.month - item.starts_on.month
    period = months // _MONTHS[item.per]
    return period - (period >= 0 and _start(item, period) > on)


def _start(item: FirstMoney, period: int) -> date:
    if item.per == "week":
        return item.starts_on + timedelta(weeks=period)
    months = item.starts_on.year * 12 + item.starts_on.month - 1 + period * _MONTHS[item.per]
    year, month = months // 12, months % 12 + 1
    return date(year, month, min(item.starts_on.day, monthrange(year, month)[1]))
