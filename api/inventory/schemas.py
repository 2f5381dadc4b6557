"""The list of all tables as sent."""

from typing import Annotated

from pydantic import Field as Limits

from ..pool_tables.place import Place
from ..web.schema_types import Id, Instant, Out, PageOf
from ..worklist.work import Kind


class TablePlaceOut(Out):
    """Where a table is, and since when."""

    kind: Place
    venue_id: Id | None
    venue: Annotated[str | None, Limits(description="The name of the venue.")]
    since: Instant


class ControllerReadOut(Out):
    """What is known of a table's controller."""

    stated: Annotated[bool, Limits(description="Whether its limits are on record.")]
    version: Annotated[str | None, Limits(description="Its version as last read.")]
    read_at: Annotated[Instant | None, Limits(description="When its version was read.")]


class KeyedOut(Out):
    """The schedule that was last keyed into a table while it has been where it is."""

    schedule_id: Id
    since: Instant
    by: str


class OpenWorkOut(Out):
    """How much work of a kind shows at a table now."""

    kind: Kind
    count: int


class TableStateOut(Out):
    """A table of the route, where it is and how it is."""

    id: Id
    label: str
    frame_number: str | None
    place: TablePlaceOut
    controller: ControllerReadOut
    last_reading_at: Instant | None
    last_collection_at: Instant | None
    sells: Annotated[
        KeyedOut | None,
        Limits(description="What was last keyed here; null where nothing was: then it sells what is listed."),
    ]
    open_work: Annotated[int, Limits(description="The pieces of work that show now, as last assessed.")]
    work: list[OpenWorkOut]
    open_jobs: Annotated[int, Limits(description="Reported faults that are not mended.")]
    out_of_order: Annotated[bool, Limits(description="Whether nobody can play on it now.")]


class TableStatePage(PageOf[TableStateOut]):
    """A page of the route's tables."""
