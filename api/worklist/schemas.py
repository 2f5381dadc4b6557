"""Work as sent."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Annotated, Any
from uuid import UUID

from pydantic import MISSING, BeforeValidator, WithJsonSchema
from pydantic import Field as Limits

from ..pool_tables.schemas import CautionOut
from ..web.feed import ChangeOut, ChangePageOf
from ..web.schema_types import DATE_PATTERN, INSTANT_PATTERN, UUID_PATTERN, Date, Id, In, Instant, Name, Out, Words
from .work import ClosesBy, ReviewOutcome, WorkCode, WorkKind

CURSOR_PATTERN = rf"^[0-9]{{1,17}}-{UUID_PATTERN.strip('^$')}$"

MOMENT_PATTERN = rf"^({DATE_PATTERN.strip('^$')}|{INSTANT_PATTERN.strip('^$')})$"
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class DeferralOut(Out):
    """Until when work is put off, and why."""

    until: Annotated[Date, Limits(description="The trading date on which it is back on the list.")]
    reason: str


class WorkOut(Out):
    """One piece of work: the table, the kind, the reason, what to bring, and the date by which it matters.

    A table in the workshop has no venue. ``refers_to`` is the schedule to key, the collection to review, or the last job;
    ``words`` are for the call to ``contact``, where a call is the work.
    """

    id: Id
    due_at: Instant
    kind: WorkKind
    code: WorkCode
    table_id: Id
    table: str
    venue_id: Id | None
    venue: str | None
    reason: str
    bring: list[str]
    needs_key: bool
    contact: str
    words: str
    refers_to: Id | None
    closes_by: Annotated[
        ClosesBy,
        Limits(
            description="record: it leaves the list by itself as soon as the record is there; record_or_words: a person's "
            "words close it too; words: it stays until an owner says what it was."
        ),
    ]
    closes_when: Annotated[str, Limits(description="The record or the words that close it.")]
    person: Annotated[str | None, Limits(description="Whom it was given to.")]
    deferral: Annotated[DeferralOut | None, Limits(description="Until when it is put off, or was on this occasion.")]
    cautions: list[CautionOut]


class WorkChangeOut(ChangeOut):
    """Work that was found, given, put off, changed or closed, as it is now."""

    work: Annotated[WorkOut | None, Limits(description="Null where it is closed: it has left the list.")]
    shows_from: Annotated[
        Instant | None, Limits(description="When the list begins to show it; null: at once, or not any more.")
    ]
    ends_at: Annotated[Instant | None, Limits(description="When it ends by itself; null: never.")]


class WorkChangePage(ChangePageOf[WorkChangeOut]):
    """A page of the work that has changed."""


class WorkAssignmentIn(In):
    """Who is to do the work."""

    person: Annotated[Name, Limits(description="The person of a valid token of role owner or collector.")]


class DeferralIn(In):
    """Until when work is put off, and why."""

    until: Annotated[Date, Limits(description="The trading date on which it is back on the list; after today.")]
    reason: Annotated[Words, Limits(description="Why it can wait.")]


class CompletionIn(In):
    """What was done, or what it was."""

    outcome: (
        Annotated[
            ReviewOutcome,
            Limits(
                description="found: the money or its cause was found; miscounted: the count was wrong; accepted, the "
                "default: it is known and accepted as it is."
            ),
        ]
        | MISSING
    ) = MISSING
    words: Annotated[Words, Limits(description="What it was, or what was done, in your own words.")]


class CompletionOut(Out):
    """Work that somebody closed in words: the line of the list as it was, the outcome, the words, who and when."""

    work_id: Id
    table_id: Id
    code: WorkCode
    reason: str
    refers_to: Id | None
    outcome: ReviewOutcome
    words: str
    completed_at: Instant
    completed_by: str


class VenueWorkOut(Out):
    """The work of a page at one venue; ``work`` are the ids of its items, earliest due first, as a trip takes them."""

    venue_id: Annotated[Id | None, Limits(description="Null: at tables that are at no venue.")]
    venue: str | None
    contact: str
    due_at: Annotated[Instant, Limits(description="When its first item is due.")]
    work: list[Id]


class WorklistPage(Out):
    """A page of the worklist, earliest due first; grouped, venue by venue, the venue with the earliest item first.

    ``waiting`` is the number of tables with records that the list does not include yet: ask again.
    """

    items: list[WorkOut]
    groups: Annotated[list[VenueWorkOut] | None, Limits(description="The venues of this page, where asked for.")]
    next: str | None
    waiting: int


@dataclass(frozen=True, slots=True)
class Cursor:
    """A place in the list: a due instant and an id. It stays valid when the work itself is done."""

    due_at: datetime
    id: UUID

    def __str__(self) -> str:
        return f"{(self.due_at - _EPOCH) // timedelta(microseconds=1)}-{self.id}"


def read_cursor(text: str) -> Cursor:
    """Return the place that a ``next`` names."""
    since, _, id_ = text.partition("-")
    return Cursor(_EPOCH + timedelta(microseconds=int(since)), UUID(id_))


def _read_moment(value: Any) -> datetime:
    expected = "a date such as 2026-12-01, or an instant such as 2026-12-01T21:00:00-05:00"
    if not isinstance(value, str) or not re.fullmatch(MOMENT_PATTERN.strip("^$"), value, re.ASCII):
        raise ValueError(expected)
    try:
        if len(value) == 10:
            return datetime.combine(date.fromisoformat(value), time(), tzinfo=UTC)
        return datetime.fromisoformat(value.upper()).astimezone(UTC)
    except ValueError:
        raise ValueError(expected) from None


InstantOrDate = Annotated[
    datetime, BeforeValidator(_read_moment), WithJsonSchema({"type": "string", "pattern": MOMENT_PATTERN})
]
"""An instant, or a date: its start in UTC."""
CursorText = Annotated[str, Limits(pattern=CURSOR_PATTERN)]
