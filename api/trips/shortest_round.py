"""The shortest round through some places, exactly (O2).

- Dynamic programming over sets of places: M. Held and R. M. Karp, "A Dynamic Programming Approach to Sequencing
  Problems", Journal of the Society for Industrial and Applied Mathematics 10 (1962), 196-210.
- Work grows as 2ⁿ · n²: twelve stops take a fraction of a second, and more are refused by whoever asks.
- Of rounds that are equally long, the first by the order of the places as given.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

STOPS_MAX = 12
"""How many stops are put in order."""


def shortest_round(distances: Sequence[Sequence[float]]) -> tuple[int, ...]:
    """Return the order of the shortest round from place 0 through all others and back.

    ``distances[i][j]`` is the way between ``i`` and ``j``, the same both ways.
    """
    count = len(distances)
    if count <= 2:
        return tuple(range(count))
    others = range(1, count)
    # The shortest way from 0 through a set (a bit for each place) that ends at one of it, and the place before the last.
    ways: dict[tuple[int, int], tuple[float, int]] = {(1 << end, end): (distances[0][end], 0) for end in others}
    for size in range(2, count):
        for chosen in combinations(others, size):
            through = sum(1 << place for place in chosen)
            for end in chosen:
                before = through ^ 1 << end
                ways[through, end] = min(
                    (ways[before, last][0] + distances[last][end], last) for last in chosen if last != end
                )
    through = sum(1 << place for place in others)
    _, end = min((ways[through, last][0] + distances[last][0], last) for last in others)
    order = []
    while end:
        order.append(end)
        through, end = through ^ 1 << end, ways[through, end][1]
    return (0, *_first_of_two([*reversed(order)]))


def _first_of_two(order: list[int]) -> list[int]:
    """Return a round in the direction that begins with the place given earlier: both are equally long."""
    return order if order[0] < order[-1] else order[::-1]
