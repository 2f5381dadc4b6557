"""A piece of work at a table: its kind, the reason, what to bring, and the date by which it matters (V1).

- Every kind of V1: ``charge_battery``, ``set_clock``, ``key_settings``, ``ask_venue``, ``collect``, ``visit``,
  ``review`` and ``licence``. ``code`` says which of the reasons for this kind it is.
- Work is found when something arrives, and shown when its time has come: ``lead_days`` before it is due, or at once.
  The leads are few: the work to show is a few ranges of the stored work, earliest due first.
- Work that other work replaces ends by itself at ``ends_at``.
- Work found again is the same work: its id comes from its table, kind and ``subject``. The subject names the occasion
  where something dates it (the reading, the emptying, the expiry), so that what was said of one occasion is not said of
  the next.
- Each code says how it closes (``CLOSINGS``): by a record alone, by a record or a person's words, or by words
  alone: such work stays until somebody says what it was (C11).
- Work at a battery, at the mains or with cash carries the cautions for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Literal, cast, get_args
from uuid import NAMESPACE_URL, UUID, uuid5

from ..pool_tables.cautions import AT_A_BATTERY, AT_THE_MAINS, LIFTING_CASH, Caution
from ..pricing.errors import DomainError, Fault

WorkKind = Literal["charge_battery", "set_clock", "key_settings", "ask_venue", "collect", "visit", "review", "licence"]

WorkCode = Literal[
    "plan_charge", "charge_now", "replace_suspected",
    "off", "drifting", "clocks_change", "clock_not_told",
    "not_keyed", "not_confirmed", "found_different", "key_for_the_day", "key_back",
    "coins_limit", "notes_limit", "value_limit",
    "no_reading",
    "meter_went_down", "meters_disagree", "difference", "leaning", "collector_leaning", "dispute", "bag_not_banked",
    "fails_again",
    "licence_expires", "not_assessed",
]  # fmt: skip
Danger = Literal["battery", "mains", "cash"]


ReviewOutcome = Literal["found", "miscounted", "accepted"]
"""What a difference or a signal was: the money or its cause was found, it was miscounted, it is known and accepted."""

ClosesBy = Literal["record", "record_or_words", "words"]
"""How work leaves the list: by a record of what was done, by that or a person's words, or by words alone."""


@dataclass(frozen=True, slots=True)
class Closing:
    """How work of a code leaves the list, and by which record or words."""

    by: ClosesBy
    detail: str


_CHARGED = Closing("record", "A reading that shows the battery charged or replaced.")
_CLOCK_RIGHT = Closing("record", "A reading of the clock that is right, or one that reports it set.")
_EMPTIED = Closing("record", "A collection of this table.")
_METERS_SEEN = Closing("record_or_words", "The next collection, meters reported as reset, or words on what it was.")
_WHAT_IT_WAS = Closing("words", "An owner's words on what it was; no record closes it.")

CLOSINGS: dict[WorkCode, Closing] = {
    "plan_charge": _CHARGED,
    "charge_now": _CHARGED,
    "replace_suspected": _CHARGED,
    "off": _CLOCK_RIGHT,
    "drifting": _CLOCK_RIGHT,
    "clocks_change": _CLOCK_RIGHT,
    "clock_not_told": Closing("record", "A reading of the clock that tells the day."),
    "not_keyed": Closing("record", "A keying of these prices."),
    "not_confirmed": Closing("record", "A reading of the settings, or one that reports them keyed."),
    "found_different": Closing("record", "A reading of settings as they were keyed, or another keying."),
    "key_for_the_day": Closing("record", "A keying for that day, or the end of that day."),
    "key_back": Closing("record", "The next keying."),
    "coins_limit": _EMPTIED,
    "notes_limit": _EMPTIED,
    "value_limit": _EMPTIED,
    "no_reading": Closing("record", "A reading or a collection of this table."),
    "meter_went_down": _METERS_SEEN,
    "meters_disagree": _METERS_SEEN,
    "difference": _WHAT_IT_WAS,
    "leaning": _WHAT_IT_WAS,
    "bag_not_banked": Closing("record", "A deposit that names the bag."),
    "collector_leaning": _WHAT_IT_WAS,
    "dispute": Closing("record", "The answer to the dispute."),
    "fails_again": Closing("record_or_words", "Words on what becomes of the table, or time without another fault."),
    "licence_expires": Closing("record", "A later expiry date on the table's licence."),
    "not_assessed": Closing("record", "A repair of the program."),
}
"""How work of each code leaves the list; a call to a venue may also be closed in words (``closing_of``)."""

OF_PERSONS: frozenset[WorkCode] = frozenset({"collector_leaning"})
"""Work that shows one person's counts: only an owner sees it (X1)."""

OF_MONEY: frozenset[WorkCode] = OF_PERSONS | {
    "coins_limit",
    "notes_limit",
    "value_limit",
    "difference",
    "leaning",
    "dispute",
    "bag_not_banked",
}
"""Work whose reason shows how much money is in a box."""

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
    """One piece of work. ``words`` are for the call to the venue; ``refers_to`` is the id of a schedule, collection or job.

    Refuses (``bad_work``) a lead that is none of ``LEADS``, an unknown kind and an unknown code.
    """

    kind: WorkKind
    code: WorkCode
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
        for name, known in (("kind", get_args(WorkKind)), ("code", get_args(WorkCode))):
            if getattr(self, name) not in known:
                faults.append(Fault("bad_work", name, getattr(self, name), ", ".join(known)))
        if self.lead_days not in LEADS:
            faults.append(Fault("bad_work", "lead_days", str(self.lead_days), ", ".join(map(str, LEADS))))
        if faults:
            raise DomainError(*faults)

    def id_at(self, table_id: UUID) -> UUID:
        """Return the id of this work at a table: the same whenever it is found."""
        return _id_of(f"urn:baizebook:work:{table_id}:{self.kind}:{self.subject}")


@lru_cache(maxsize=4096)  # finding, comparing and saving the work of a table each ask for it
def _id_of(name: str) -> UUID:
    return uuid5(NAMESPACE_URL, name)


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


def closing_of(kind: str, cause: str) -> Closing:
    """Return how work of a kind leaves the list; ``cause`` is its code."""
    closing = CLOSINGS[cast("WorkCode", cause)]
    if kind != "ask_venue":
        return closing
    return Closing("record_or_words", f"{closing.detail.removesuffix('.')}, or words on the call to the venue.")


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
