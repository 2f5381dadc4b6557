"""The shortest round is as short as the best of all rounds, tried one by one (O2)."""

import random
from collections.abc import Sequence
from itertools import pairwise, permutations
from time import process_time

import pytest
from baizebook.trips.distance import Coordinates, haversine_km
from baizebook.trips.shortest_round import STOPS_MAX, shortest_round


def somewhere(count: int, seed: int) -> list[list[float]]:
    """Return the distances between random places in a region as large as a route's."""
    chance = random.Random(seed)
    points = [Coordinates(chance.uniform(40, 42), chance.uniform(-75, -72)) for _ in range(count)]
    return [[haversine_km(one, other) for other in points] for one in points]


def round_length(distances: Sequence[Sequence[float]], order: Sequence[int]) -> float:
    """Return the length of a round that visits places in an order and goes back to the first."""
    return sum(distances[one][other] for one, other in pairwise((*order, *order[:1])))


@pytest.mark.parametrize("count", range(1, 10))
def test_no_other_order_of_up_to_nine_places_is_shorter(count: int) -> None:
    for seed in range(3 if count < 9 else 1):
        distances = somewhere(count, seed)
        best = min(round_length(distances, (0, *rest)) for rest in permutations(range(1, count)))
        order = shortest_round(distances)
        assert sorted(order) == list(range(count))
        assert order[0] == 0
        assert round_length(distances, order) == pytest.approx(best)


def test_places_on_a_circle_are_visited_around_it_in_the_order_given() -> None:
    places = [(0, 0), (1, 0), (2, 0), (2, 1), (1, 1), (0, 1)]
    distances = [[abs(a - c) + abs(b - d) for c, d in places] for a, b in places]
    assert shortest_round(distances) == (0, 1, 2, 3, 4, 5)


def test_twelve_stops_and_a_start_take_a_few_seconds_at_most() -> None:
    began = process_time()
    assert sorted(shortest_round(somewhere(STOPS_MAX + 1, 7))) == list(range(STOPS_MAX + 1))
    assert process_time() - began < 5
