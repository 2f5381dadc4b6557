"""Feeds: ``GET …/changes?after=`` answers what has changed since, each thing once, as it is now.

Ask again after the number of the last item that you have: nothing is skipped, also while others write, and what has not
changed since does not come again.
"""

from operator import attrgetter
from typing import Annotated, Generic, TypeVar
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field
from sqlmodel import Session, col, select

from ..store.feeds import Feed, LastChangeRow
from .pagination import Page
from .schema_types import Count, Id, Instant, Out

T = TypeVar("T", bound=BaseModel)


class ChangeOut(Out):
    """A thing that has changed, at its place in the feed."""

    number: Annotated[Count, Field(description="Its place in the feed; it rises with each change.")]
    id: Id
    changed_at: Instant


class ChangePageOf(BaseModel, Generic[T]):
    """A page of a feed, the oldest change first."""

    model_config = ConfigDict(extra="forbid")

    items: list[T]
    next: Annotated[Count | None, Field(description="The number after which the next page begins; null on the last.")]


def page_changes(session: Session, feed: Feed, *, limit: int, after: int) -> Page[LastChangeRow]:
    """Return what has changed after a number, the oldest change first."""
    query = select(LastChangeRow).where(LastChangeRow.feed == feed, LastChangeRow.number > after)
    rows = session.exec(query.order_by(col(LastChangeRow.number)).limit(limit + 1)).all()
    return Page(rows[:limit], rows[limit - 1].number if len(rows) > limit else None, attrgetter("number"))


def subjects(found: Page[LastChangeRow]) -> list[UUID]:
    """Return the ids of the things on a page."""
    return [row.subject_id for row in found.rows]
