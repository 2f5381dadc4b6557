"""Purchases in time: money that goes in and games that are started, one event after the other.

- T1: money buys at the tariff in force at the instant it goes in; what was bought stays bought.
- T2: a purchase goes on while the tariff version is the same, the next money comes within the gap, bought time has not
  run out and, where the table ends a purchase so, no game was started. What was left goes into the next purchase and
  buys nothing by itself.
- T3: minutes are elapsed minutes. Time starts with the insertion that first grants minutes, is extended by money that
  grants more while it runs, and starts anew with money added after it ended.
- T4: events come in time order, a start needs credit, and all money in is all money spent and left.
- P9: money that goes in where nothing is sold (``closed``), play is free (``free``) or the tariff sells none of the kind
  (``kind_not_sold``) is left, and ends the purchase before it. A start where play is free takes no credit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Literal

from .effort import STEPS_OF_AN_EVENT, Effort
from .errors import Fault, PricingError, pricing_error
from .ladder import Sale
from .lines import PrepaidKind
from .money import MAX_MINOR
from .tariff import Tariff

PurchaseCaution = Literal["closed", "free", "kind_not_sold"]
TariffAt = Callable[[datetime], Tariff | None]

CREDIT_MINUTES_MAX = 5_256_000
"""No money buys more minutes than this (``too_much_money``): ten years of 365 days."""
_MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Insert:
    """Money that goes in: ``amount`` minor units, at least 1, at an aware instant."""

    at: datetime
    amount: int


@dataclass(frozen=True, slots=True)
class Start:
    """A game that is started, or play begun on bought time, at an aware instant."""

    at: datetime


@dataclass(frozen=True, slots=True)
class PurchaseStep:
    """The state after one event.

    ``granted`` units by this event; ``credit``: games not yet started, or whole minutes still to run; ``left`` minor
    units; ``ends_at`` where time was bought, also after it ended; ``tariff`` in force, ``None`` where closed.
    """

    at: datetime
    kind: Literal["insert", "start"]
    granted: int
    credit: int
    left: int
    ends_at: datetime | None
    tariff: Tariff | None
    caution: PurchaseCaution | None


@dataclass(frozen=True, slots=True)
class Purchases:
    """What a list of events came to: its steps, the units granted, and all money in = spends + left."""

    steps: tuple[PurchaseStep, ...]
    units: int
    money: int
    spends: int
    left: int
    ends_at: datetime | None


def follow(
    events: Sequence[Insert | Start],
    *,
    tariff_at: TariffAt,
    buys: PrepaidKind,
    gap_s: int = 120,
    ends_on_start: bool = False,
    work: Effort | None = None,
) -> Purchases:
    """Return what a table sells over these events, step by step (T4).

    ``tariff_at`` tells the tariff in force at an instant, ``None`` where nothing is sold. Refuses, all at once, instants
    without an offset (``naive_instant``), amounts that are none (``bad_money``) and events out of time order
    (``events_out_of_order``); then a start without credit (``no_credit``) and money that buys more than ten years
    (``too_much_money``); and ``too_much_work`` (E4).
    """
    smaller = "send fewer events, or fewer questions at once"
    (work or Effort()).spend(STEPS_OF_AN_EVENT * len(events), where="events", smaller=smaller)
    faults = _faults(events)
    if faults:
        raise PricingError(*faults)
    table = _Table(tariff_at, buys, timedelta(seconds=gap_s), ends_on_start)
    steps = []
    for index, event in enumerate(events):
        # Two instants of one zone compare and subtract by the wall clock: only UTC counts what has elapsed.
        at = event.at.astimezone(UTC)
        try:
            steps.append(table.insert(at, event.amount) if isinstance(event, Insert) else table.start(at))
        except PricingError as error:
            raise error.within(f"events[{index}]") from None
    money = sum(event.amount for event in events if isinstance(event, Insert))
    units = sum(step.granted for step in steps)
    return Purchases(tuple(steps), units, money, table.spends, table.left, table.ends_at)


def ends_after(at: datetime, minutes: int) -> datetime:
    """Return the instant (UTC) at which ``minutes`` bought at ``at`` have run out (T3); at most ten years of them."""
    if minutes > CREDIT_MINUTES_MAX:
        expected = f"money that buys at most {CREDIT_MINUTES_MAX} minutes, ten years"
        raise pricing_error("too_much_money", where="money", found=f"{minutes} minutes", expected=expected)
    return at.astimezone(UTC) + timedelta(minutes=minutes)


@dataclass(slots=True)
class _Table:
    """A table between two events. ``tariff`` is that of the purchase that may go on, ``None`` where none may.

    ``paid``, ``bought`` and ``spent`` are of that purchase, ``left`` of an earlier one included; ``spends`` is of all.
    """

    tariff_at: TariffAt
    buys: PrepaidKind
    gap: timedelta
    ends_on_start: bool
    tariff: Tariff | None = None
    last_at: datetime | None = None
    paid: int = 0
    bought: int = 0
    spent: int = 0
    left: int = 0
    spends: int = 0
    games: int = 0
    ends_at: datetime | None = None

    def insert(self, at: datetime, amount: int) -> PurchaseStep:
        tariff = self.tariff_at(at)
        ladder = getattr(tariff, self.buys) if tariff else None
        if tariff is None or ladder is None:
            self.tariff, self.left = None, self.left + amount
            return self._step("insert", at, tariff, caution=self._why_not(tariff))
        if not self._goes_on(tariff, at):
            self.tariff, self.paid, self.bought, self.spent = tariff, self.left, 0, 0
        self.last_at = at
        self.paid += amount
        sale: Sale = ladder.sell(self.paid)
        granted = sale.units - self.bought
        self.spends += sale.spends - self.spent
        self.bought, self.spent, self.left = sale.units, sale.spends, sale.left
        self._grant(granted, at)
        return self._step("insert", at, tariff, granted=granted)

    def start(self, at: datetime) -> PurchaseStep:
        tariff = self.tariff_at(at)
        is_free = tariff is not None and tariff.free
        if not is_free:
            self._take_credit(at)
        if self.ends_on_start:
            self.tariff = None
        return self._step("start", at, tariff, caution="free" if is_free else None)

    def _goes_on(self, tariff: Tariff, at: datetime) -> bool:
        if self.tariff != tariff or self.last_at is None or at - self.last_at > self.gap:
            return False
        return self.ends_at is None or self.ends_at > at

    def _grant(self, units: int, at: datetime) -> None:
        if self.buys == "games":
            self.games += units
        elif units:
            runs_from = self.ends_at if self.ends_at is not None and self.ends_at > at else at
            self.ends_at = ends_after(runs_from, units)

    def _take_credit(self, at: datetime) -> None:
        has_credit = self.games > 0 if self.buys == "games" else self.ends_at is not None and self.ends_at > at
        if not has_credit:
            raise pricing_error(
                "no_credit", where="", found="a start without credit", expected="credit, bought before it"
            )
        if self.buys == "games":
            self.games -= 1

    def _credit(self, at: datetime) -> int:
        if self.buys == "games":
            return self.games
        return max(0, (self.ends_at - at) // _MINUTE) if self.ends_at is not None else 0

    def _why_not(self, tariff: Tariff | None) -> PurchaseCaution:
        if tariff is None:
            return "closed"
        return "free" if tariff.free else "kind_not_sold"

    def _step(
        self,
        kind: Literal["insert", "start"],
        at: datetime,
        tariff: Tariff | None,
        *,
        granted: int = 0,
        caution: PurchaseCaution | None = None,
    ) -> PurchaseStep:
        return PurchaseStep(at, kind, granted, self._credit(at), self.left, self.ends_at, tariff, caution)


def _faults(events: Sequence[Insert | Start]) -> list[Fault]:
    faults = [
        Fault("naive_instant", f"events[{index}].at", event.at.isoformat(), "an instant with its offset from UTC")
        for index, event in enumerate(events)
        if event.at.utcoffset() is None
    ]
    faults += [
        Fault("bad_money", f"events[{index}].amount", repr(event.amount), f"minor units from 1 to {MAX_MINOR}")
        for index, event in enumerate(events)
        if isinstance(event, Insert) and not (type(event.amount) is int and 1 <= event.amount <= MAX_MINOR)
    ]
    aware = [
        (index, event.at.astimezone(UTC)) for index, event in enumerate(events) if event.at.utcoffset() is not None
    ]
    for (_, before), (index, at) in pairwise(aware):
        if at < before:
            expected = f"an instant not before {before.isoformat()}, that of the event before it"
            faults.append(Fault("events_out_of_order", f"events[{index}].at", at.isoformat(), expected))
    return faults
