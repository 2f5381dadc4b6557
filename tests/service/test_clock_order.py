"""What came after what rests on no clock: the clock goes back or forth between any two steps, and two hosts disagree."""

from datetime import timedelta
from functools import cache
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.conftest import NOON, Route
from tests.databases import DEEP, postgres_database, sqlite_database
from tests.service.clock_story import STEPS, Off, tell

BACK_20_S, BACK_1_H, FORTH_1_H = timedelta(seconds=-20), timedelta(hours=-1), timedelta(hours=1)
EVEN = timedelta(0)


@cache
def as_it_should_end() -> dict[str, Any]:
    """Return how the story ends with an even clock."""
    with sqlite_database() as url:
        return tell(url, lambda _: EVEN)


def from_step(first: int, off: timedelta) -> Off:
    return lambda step: off if step >= first else EVEN


def test_the_story_itself_takes_first_money_once_and_the_loan_once() -> None:
    end = as_it_should_end()
    assert end["balances"]["first_money"] == "-60.00"
    assert end["balances"].get("venue_loans", "0.00") == "0.00"
    assert all(end["whole"].values())
    assert end["books"]
    assert end["sheet is of the newest"]
    assert end["followed"]["keyings"] == 3


@pytest.mark.parametrize("step", range(1, len(STEPS), 1 if DEEP else 8), ids=lambda step: STEPS[step][0])
def test_a_clock_set_back_or_forth_before_a_step_changes_nothing(step: int) -> None:
    off = (BACK_1_H, BACK_20_S, FORTH_1_H)[step % 3]
    with sqlite_database() as url:
        assert tell(url, from_step(step, off)) == as_it_should_end()


@pytest.mark.parametrize("seed", range(3 if DEEP else 2))
def test_a_clock_that_jumps_at_every_step_changes_nothing(seed: int) -> None:
    offs = (EVEN, BACK_1_H, BACK_20_S, FORTH_1_H, EVEN, BACK_20_S)
    with sqlite_database() as url:
        assert tell(url, lambda step: offs[(step * (seed + 1) + seed) % 6]) == as_it_should_end()


@pytest.mark.parametrize("off", [BACK_1_H, FORTH_1_H, *([BACK_20_S] if DEEP else [])], ids=str)
def test_two_hosts_whose_clocks_disagree_answer_alike(off: timedelta) -> None:
    with postgres_database() as url:
        assert tell(url, lambda step: off if step % 2 else EVEN, hosts=2) == as_it_should_end()


def test_an_answer_says_by_how_much_the_clock_is_behind(at_noon: TestClient, route: Route) -> None:
    venue = route.venue()
    assert "Baizebook-Caution" not in at_noon.get(f"/v1/venues/{venue['id']}/schedules").headers
    at_noon.app.state.clock = lambda: NOON - timedelta(hours=1)  # type: ignore[attr-defined]
    answer = at_noon.post("/v1/venues", json={"name": "Late", "time_zone": "Europe/Berlin", "currency": "EUR"})
    assert "3600 s behind" in answer.headers["Baizebook-Caution"]
