"""Distances against published values and against the globe itself (O2)."""

from math import pi

import pytest
from baizebook.trips.distance import EARTH_RADIUS_KM, Coordinates, haversine_km
from hypothesis import given
from hypothesis import strategies as st

NASHVILLE, LOS_ANGELES = Coordinates(36.12, -86.67), Coordinates(33.94, -118.40)
PLACES = st.builds(Coordinates, st.floats(-90, 90), st.floats(-180, 180))


@pytest.mark.parametrize(
    ("radius_km", "expected_km"),
    [
        (6371.0, 2886.4444),  # Rosetta Code, "Haversine formula": published
        (6372.8, 2887.2600),  # the same: published
    ],
)
def test_nashville_to_los_angeles(radius_km: float, expected_km: float) -> None:
    found = haversine_km(NASHVILLE, LOS_ANGELES, radius_km=radius_km)
    assert found == pytest.approx(expected_km, abs=0.00005)


def test_a_point_is_at_no_distance_from_itself_and_half_the_globe_from_its_antipode() -> None:
    assert haversine_km(NASHVILLE, NASHVILLE) == 0  # derived
    antipode = Coordinates(-36.12, 180 - 86.67)
    assert haversine_km(NASHVILLE, antipode) == pytest.approx(pi * EARTH_RADIUS_KM)  # derived


def test_the_way_over_the_date_line_is_the_short_one() -> None:
    assert haversine_km(Coordinates(0, 179.5), Coordinates(0, -179.5)) == pytest.approx(
        pi * EARTH_RADIUS_KM / 180
    )  # derived


@given(PLACES, PLACES, PLACES)
def test_distances_are_the_same_both_ways_and_no_detour_is_shorter(
    one: Coordinates, two: Coordinates, three: Coordinates
) -> None:
    assert haversine_km(one, two) == pytest.approx(haversine_km(two, one), abs=1e-6)
    assert haversine_km(one, three) <= haversine_km(one, two) + haversine_km(two, three) + 1e-3
