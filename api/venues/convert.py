"""Between venues as stored and as sent."""

from .rows import VenueRow
from .schemas import VenueOut


def venue_out(row: VenueRow) -> VenueOut:
    """Write a venue as its message."""
    return VenueOut(**row.model_dump(include=set(VenueOut.model_fields)))
