"""What becomes of each reading of a batch: recorded, a duplicate, or refused. Values in, values out.

- R2 The same id with the same content is a ``duplicate``; with other content it is refused, naming what differs. Of a
  reading of another table, or from where the sender does not see, that it is another is all that is said.
- R4 What comes from the future (more than five minutes) or from before the table existed is kept, flagged, and not
  ``valid``: it is never judged and never the latest. A reading belongs to the table's venue at that time.
- A sender sees its own: a venue the tables there at that time, a device its table. All else is absent for it.
- A venue's staff can read the supply, the clock, the meters' display and the version; settings are behind the door, and
  work done is the route's: both need a key.
- Odd facts are kept and flagged: a voltage far from nominal, a supply reading of a table on mains, a table in the workshop.
- Impossible ones are refused, all at once: a meter that the table does not have, more digits than it shows, prices that
  the currency does not have.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal
from uuid import UUID

from ..pool_tables.future_instants import FUTURE_ALLOWED
from ..pricing.errors import DomainError, Fault
from ..pricing.money import parse_money
from .conflicts import Content, differs_in, reading_differences
from .units import is_odd

ReadingOutcome = Literal["recorded", "duplicate", "refused"]

NEEDS_A_KEY = ("settings", "done")
_FLAGS = ("from_future", "before_the_table", "in_the_workshop", "on_mains", "odd_voltage")


@dataclass(frozen=True, slots=True)
class Stood:
    """Where a table was from an instant on; without a venue in the workshop or in storage, or ``gone`` from the route."""

    from_at: datetime
    venue_id: UUID | None
    gone: bool = False


@dataclass(frozen=True, slots=True)
class AdmissionFacts:
    """What a reading is held against: where the table stood when (rising), its meters' digits, its power, its money."""

    stays: tuple[Stood, ...]
    digits: Mapping[str, int]
    currency: str
    power: Literal["battery", "mains"] | None = None
    nominal_volts: int = 12

    def stood(self, at: datetime) -> Stood:
        """Return where the table was at an instant; before its first stay, that first one."""
        return self.stays[max(bisect_right(self.stays, at, key=lambda stay: stay.from_at) - 1, 0)]


@dataclass(frozen=True, slots=True)
class Sender:
    """Who sends, what of it is theirs to see (None: all), and whether they hold a key."""

    name: str
    only_venue: UUID | None = None
    only_table: UUID | None = None
    has_key: bool = True

    def sees(self, table_id: UUID, venue_id: UUID | None) -> bool:
        """Tell whether the sender may see a table at its venue of that time."""
        return self.only_table in (None, table_id) and self.only_venue in (None, venue_id)


@dataclass(frozen=True, slots=True)
class Decision:
    """What becomes of a reading; a refusal's ``code`` is that of its problem."""

    outcome: ReadingOutcome
    flags: tuple[str, ...] = ()
    venue_id: UUID | None = None
    code: str | None = None
    faults: tuple[Fault, ...] = ()

    @property
    def valid(self) -> bool:
        """Whether judgements may use it (R4)."""
        return "from_future" not in self.flags and "before_the_table" not in self.flags


def admit(
    sent: Content, *, table: AdmissionFacts | None, stored: Content | None, sender: Sender, now: datetime
) -> Decision:
    """Return the decision on a reading; ``stored`` is the reading already under its id, ``table`` is None for an unknown one."""
    stood = table.stood(sent["taken_at"]) if table else None
    if table is None or stood is None or not sender.sees(sent["pool_table_id"], stood.venue_id):
        return Decision("refused", code="not_found")
    if stored is not None:
        return _again(sent, stored, table, sender)
    if stood.gone and sent["taken_at"] > stood.from_at:
        gone = f"before {stood.from_at.isoformat()}: the table left the route then"
        return Decision(
            "refused", code="table_gone", faults=(Fault("table_gone", "taken_at", sent["taken_at"].isoformat(), gone),)
        )
    if not sender.has_key and (locked := _locked(sent)):
        return Decision("refused", code="forbidden", faults=locked)
    if faults := (*_wrong_meters(sent, table), *_wrong_prices(sent, table)):
        return Decision("refused", code="invalid", faults=faults)
    return Decision("recorded", flags=_flags(sent, table, stood, now), venue_id=stood.venue_id)


def _again(sent: Content, stored: Content, table: AdmissionFacts, sender: Sender) -> Decision:
    """Return the decision on a reading under a known id; show no value of one that the sender may not see."""
    if stored["pool_table_id"] != sent["pool_table_id"]:
        faults: tuple[Fault, ...] = (differs_in("table_id"),)
    elif not sender.sees(stored["pool_table_id"], table.stood(stored["taken_at"]).venue_id):
        faults = (differs_in("taken_at"),)
    else:
        faults = reading_differences(stored=stored, sent=sent)
    if not faults:
        elsewhere = table.stood(stored["taken_at"]).venue_id is None
        early = stored["taken_at"] < table.stays[0].from_at
        flags = flags_now(stored["flags"] or (), in_the_workshop=elsewhere, before_the_table=early)
        return Decision("duplicate", flags=flags)
    return Decision("refused", code="same_id_other_content", faults=faults)


def flags_now(stored: Sequence[str], *, in_the_workshop: bool, before_the_table: bool) -> tuple[str, ...]:
    """Return a reading's flags by where the table was, as that is on record now."""
    now = {"in_the_workshop": in_the_workshop, "before_the_table": before_the_table and "before_the_table" in stored}
    return tuple(flag for flag in _FLAGS if now.get(flag, flag in stored))


def _flags(sent: Content, table: AdmissionFacts, stood: Stood, now: datetime) -> tuple[str, ...]:
    volts = sent["battery_mv"]
    flags = []
    if sent["taken_at"] > now + FUTURE_ALLOWED:
        flags.append("from_future")
    if sent["taken_at"] < table.stays[0].from_at:
        flags.append("before_the_table")
    if stood.venue_id is None:
        flags.append("in_the_workshop")
    if volts is not None and table.power == "mains":
        flags.append("on_mains")
    elif volts is not None and is_odd(volts, nominal_volts=table.nominal_volts):
        flags.append("odd_voltage")
    return tuple(flags)


def _locked(sent: Content) -> tuple[Fault, ...]:
    return tuple(
        Fault("forbidden", name, "an observation that needs a key", "what can be read without one")
        for name in NEEDS_A_KEY
        if sent[name] is not None
    )


def _wrong_meters(sent: Content, table: AdmissionFacts) -> list[Fault]:
    faults = []
    for name, count in (sent["meters"] or {}).items():
        digits = table.digits.get(name)
        if digits is None:
            known = f"one of {', '.join(sorted(table.digits))}" if table.digits else "no meter: the table has none"
            faults.append(Fault("invalid", f"meters.{name}", "no such meter", known))
        elif count >= 10**digits:
            faults.append(Fault("invalid", f"meters.{name}", str(count), f"at most {digits} digits"))
    return faults


def _wrong_prices(sent: Content, table: AdmissionFacts) -> list[Fault]:
    faults: list[Fault] = []
    for d, day in enumerate((sent["settings"] or {"days": ()})["days"]):
        for w, window in enumerate(day["windows"]):
            for kind in ("games", "minutes"):
                for r, rung in enumerate(window[kind]["prices"] if window[kind] else ()):
                    where = f"settings.days[{d}].windows[{w}].{kind}.prices[{r}].price"
                    try:
                        parse_money(rung["price"], table.currency, where=where)
                    except DomainError as error:
                        faults.extend(error.faults)
    return faults
