"""A piece of work at a table: its kind, the reason, what to bring, and the date by which it matters (V1).

- Every kind of V1: ``charge_battery``, ``set_clock``, ``key_settings``, ``ask_venue``, ``collect``, ``visit``,
  ``review`` and ``licence``. ``code`` says which of the reasons for this kind it is.
- Work is found when something arrives, and shown when its time has come: ``lead_days`` before it is due, or at once.
  The leads are few: the work to show is a few ranges of the stored work, earliest due first.
- Work that other work replaces ends by itself at ``ends_at``.
- Work found again is the same work: its id comes from its table, kind and ``subject``.
- Work that needs a person's words (``NEEDS_WORDS``) stays until it has them; a record closes all other work.
- Work at a battery, at the mains or with cash carries the cautions for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal, get_args
from uuid import NAMESPACE_URL, UUID, uuid5

from ..pool_tables.cautions import AT_A_BATTERY, AT_THE_MAINS, LIFTING_CASH, Caution
from ..pricing.errors import DomainError, Fault

Kind = Literal["charge_battery", "set_clock", "key_settings", "ask_venue", "collect", "visit", "review", "licence"]

Code = Literal[
    "plan_charge", "charge_now", "replace_suspected",
    "off", "drifting", "clocks_change", "clock_not_told",
    "not_keyed", "not_confirmed", "found_different", "key_for_the_day", "key_back",
    "coins_limit", "notes_limit", "value_limit",
    "no_reading",
    "meter_went_down", "meters_disagree", "difference", "leaning", "dispute",
    "licence_expires", "not_assessed",
]  # fmt: skip
Danger = Literal["battery", "mains", "cash"]


Outcome = Literal["found", "miscounted", "accepted"]
"""What a difference or a signal was: the money or its cause was found, it was miscounted, it is known and accepted."""

NEEDS_WORDS: frozenset[Code] = frozenset({"difference", "leaning"})
"""Work that no record closes: it stays until somebody says what it was (C11)."""

OF_MONEY: frozenset[Code] = frozenset({"coins_limit", "notes_limit", "value_limit", "difference", "leaning", "dispute"})
"""Work whose reason tells of the money in a box."""

AT_ONCE = 36_500
"""The lead of what is shown as soon as it is known: a hundred years."""


LEADS = (0, 7, 14, 60, AT_ONCE)
"""How many days before it is due work may be shown."""
CAUTIONS: dict[Danger, tuple[Caution, ...]] = {
    "battery": AT_A_BATTERY,
    "mains": AT_THE_MAINS,
    "cash": LIFTING_CASH,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One piece of work. ``words`` are for the call to the venue; ``refers_to`` is the id of a schedule or collection.

    Refuses (``bad_work``) a lead that is none of ``LEADS``, an unknown kind and an unknown code.
    """

    kind: Kind
    code: Code
    due_at: datetime
    reason: str
    subject: str = ""
    lead_days: int = AT_ONCE
    ends_at: datetime | None = None
    bring: tuple[str, ...] = ()
    needs_key: bool = False
    dangers: tuple[Danger, ...] = ()
    words: str = ""
    refers_to: UUID | None = None

    def __post_init__(self) -> None:
        faults = []
        for name, known in (("kind", get_args(Kind)), ("code", get_args(Code))):
            if getattr(self, name) not in known:
                faults.append(Fault("bad_work", name, getattr(self, name), ", ".join(known)))
        if self.lead_days not in LEADS:
            faults.append(Fault("bad_work", "lead_days", str(self.lead_days), ", ".join(map(str, LEADS))))
        if faults:
            raise DomainError(*faults)

    def id_at(self, table_id: UUID) -> UUID:
        """Return the id of this work at a table: the same whenever it is found."""
        return uuid5(NAMESPACE_URL, f"urn:baizebook:work:{table_id}:{self.kind}:{self.subject}")


def not_assessed(*, due_at: datetime) -> Work:
    """Return the line for a table whose assessment failed: the one thing known of it."""
    return Work(
        kind="review",
        code="not_assessed",
        subject="not_assessed",
        due_at=due_at,
        reason="An error in the program keeps this table's other work off the list. Tell whoever runs the service: the "
        "log has the details. Until then, look after this table without the list.",
    )


def lead_of(ahead: timedelta) -> int:
    """Return the least lead that shows work at least ``ahead`` of its due date; never ``AT_ONCE``."""
    days = ahead / timedelta(days=1)
    return next((lead for lead in LEADS if lead >= days and lead != AT_ONCE), LEADS[-2])


def cautions_for(dangers: Iterable[str]) -> tuple[Caution, ...]:
    """Return the cautions for some dangers, each once, local rules last."""
    cautions = [caution for danger, cautions in CAUTIONS.items() if danger in set(dangers) for caution in cautions]
    return tuple(dict.fromkeys([caution for caution in cautions if caution is not cautions[-1]] + cautions[-1:]))


def on_the_spot(*, on_mains: bool) -> tuple[Danger, ...]:
    """Return the dangers of opening a table: its mains, unless it runs on a battery."""
    return ("mains",) if on_mains else ()
