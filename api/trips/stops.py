"""Which venues a trip stops at, and in which order: pure (O2).

- Venues that are named come first, as named; then those of the work, in its order. A venue is one stop.
- A shortest round begins at the start of the trip, else at its first stop.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from uuid import UUID

from ..pricing.errors import domain_error
from .distance import Coordinates, haversine_km
from .shortest_round import shortest_round


def stops_of(named: Sequence[UUID], of_work: Sequence[UUID]) -> list[UUID]:
    """Return the venues of a trip; refuse (``invalid``) a venue that is named twice, and a trip to nowhere."""
    must_be_once(named, name="stops")
    found = list(dict.fromkeys((*named, *of_work)))
    if not found:
        raise domain_error("invalid", where="stops", found="nothing", expected="at least one venue, or work at one")
    return found


def must_be_once(ids: Sequence[UUID], *, name: str) -> None:
    """Refuse (``invalid``) an id that is named twice."""
    for place, id_ in enumerate(ids):
        if id_ in ids[:place]:
            raise domain_error("invalid", where=f"{name}[{place}]", found=f"{id_} again", expected="each of them once")


def in_shortest_order(points: Sequence[Coordinates], *, start: Coordinates | None) -> list[int]:
    """Return the places of stops in the order of the shortest round by straight lines."""
    around = [*points] if start is None else [start, *points]
    order = shortest_round([[haversine_km(one, other) for other in around] for one in around])
    return list(order) if start is None else [place - 1 for place in order[1:]]


def legs_km(points: Sequence[Coordinates | None], *, start: Coordinates | None) -> list[float | None]:
    """Return the straight line to each stop from where the trip comes from, None where a coordinate lacks."""
    return [
        None if one is None or other is None else haversine_km(one, other) for one, other in pairwise((start, *points))
    ]


def round_km(points: Sequence[Coordinates | None], *, start: Coordinates | None) -> float | None:
    """Return the length of a trip and its way back to the start, else to the first stop; None where a point lacks."""
    around = [*points] if start is None else [start, *points]
    known = [point for point in around if point is not None]
    if len(known) < len(around):
        return None
    return sum(haversine_km(one, other) for one, other in pairwise((*known, known[0])))
