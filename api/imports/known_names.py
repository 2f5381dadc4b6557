"""The venues and tables of the route, found by what people call them. Values in, values out.

- A name is known in any case; an id always. Where a name means two, it is refused with what tells them apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeVar

from ..pricing.errors import domain_error
from ..pricing.trading_day import Calendar


@dataclass(frozen=True, slots=True)
class VenueHere:
    """A venue of the route."""

    id: str
    name: str
    currency: str
    calendar: Calendar


@dataclass(frozen=True, slots=True)
class TableHere:
    """A table of the route, with the venue where it is, or was last."""

    id: str
    label: str
    frame_number: str
    venue: VenueHere


Named = TypeVar("Named")


@dataclass(slots=True)
class Places:
    """The venues and tables that lines can name."""

    venues: dict[str, list[VenueHere]] = field(default_factory=dict)
    tables: dict[str, list[TableHere]] = field(default_factory=dict)

    def add_venue(self, venue: VenueHere) -> None:
        """Let lines name a venue."""
        for name in (venue.id, folded(venue.name)):
            self.venues.setdefault(name, []).append(venue)

    def add_table(self, table: TableHere) -> None:
        """Let lines name a table by its id, its label or the number on its frame."""
        for name in {table.id, folded(table.label), folded(table.frame_number)} - {""}:
            self.tables.setdefault(name, []).append(table)

    def venue(self, name: str) -> VenueHere:
        """Return the venue of this name; refuse (``unknown_name``, ``ambiguous_name``) none and two."""
        found = self.venues.get(folded(name), [])
        return _one(found, name, where="venue", what="venue", tell_apart="name it by its id")

    def table(self, name: str, venue: VenueHere | None) -> TableHere:
        """Return the table of this name, at a venue or anywhere; refuse (``unknown_name``, ``ambiguous_name``) none and two."""
        found = self.tables.get(folded(name), [])
        if venue is not None and len(found) > 1:
            found = [table for table in found if table.venue.id == venue.id] or found
        others = ", ".join(table.venue.name for table in found[:4])
        tell_apart = "name it by its id" if venue is not None else f"add the column venue: {others}"
        return _one(found, name, where="table", what="table", tell_apart=tell_apart)


def folded(name: str) -> str:
    """Return a name as it is compared: without case, with single spaces."""
    return " ".join(name.split()).casefold()


def _one(found: list[Named], name: str, *, where: str, what: str, tell_apart: str) -> Named:
    if len(found) == 1:
        return found[0]
    if not found:
        raise domain_error(
            "unknown_name", where=where, found=repr(name[:60]), expected=f"the name of a {what} of the route"
        )
    raise domain_error(
        "ambiguous_name", where=where, found=f"{len(found)} named {name[:60]!r}", expected=f"one {what}: {tell_apart}"
    )
