"""The list of all tables as sent."""

from typing import Annotated

from pydantic import Field as Limits

from ..controllers.sells import Basis, SellsCaution
from ..pool_tables.place import Place
from ..web.schema_types import Id, Instant, Out, PageOf
from ..worklist.work import WorkKind


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


class TableSellsOut(Out):
    """What a table sells by: settings that a reading found, a schedule that was keyed, or what is listed."""

    basis: Basis
    since: Annotated[Instant | None, Limits(description="When it was found or keyed, or from when it is listed.")]
    schedule_id: Annotated[Id | None, Limits(description="The schedule that was keyed last, where one was.")]
    caution: SellsCaution | None


class OpenWorkOut(Out):
    """How much work of a kind shows at a table now."""

    kind: WorkKind
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
    sells: Annotated[TableSellsOut | None, Limits(description="Null where it is at no venue: it sells nothing there.")]
    open_work: Annotated[int, Limits(description="The pieces of work that show now, as last assessed.")]
    work: list[OpenWorkOut]
    open_jobs: Annotated[int, Limits(description="Reported faults that are not mended.")]
    out_of_order: Annotated[bool, Limits(description="Whether nobody can play on it now.")]


class TableStatePage(PageOf[TableStateOut]):
    """A page of the route's tables."""
