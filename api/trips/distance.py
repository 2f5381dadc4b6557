"""Straight-line distances between places on the globe, in kilometres (O2).

- The haversine formula on a sphere: R. W. Sinnott, "Virtues of the Haversine", Sky and Telescope 68 (1984), 159.
- The radius is the earth's mean, 6371.0 km. Roads are longer.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, cos, radians, sin, sqrt

EARTH_RADIUS_KM = 6371.0


@dataclass(frozen=True, slots=True)
class Coordinates:
    """A place on the globe, in decimal degrees: north and east are above zero."""

    latitude: float
    longitude: float


def haversine_km(one: Coordinates, other: Coordinates, *, radius_km: float = EARTH_RADIUS_KM) -> float:
    """Return the distance along the surface."""
    lat_1, lat_2 = radians(one.latitude), radians(other.latitude)
    across = radians(other.longitude - one.longitude)
    half = sin((lat_2 - lat_1) / 2) ** 2 + cos(lat_1) * cos(lat_2) * sin(across / 2) ** 2
    return 2 * radius_km * asin(sqrt(min(1.0, half)))
