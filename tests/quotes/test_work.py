"""Work is bounded and counted (E4): the dearest requests that are allowed, and those that are refused with the count."""

from datetime import datetime, timedelta
from time import process_time
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from baizebook.pricing import (
    Calendar,
    Ladder,
    PricingError,
    Rate,
    Rung,
    Schedule,
    Stretch,
    Tariff,
    Tier,
    Timetable,
    split,
)
from baizebook.pricing.effort import STEPS_MAX, Effort
from fastapi.testclient import TestClient

from tests.conftest import Route

CPU_S_MAX = 5.0
"""The goal is two seconds; a busy or slow machine gets some more."""
ZONE = ZoneInfo("America/New_York")
AT = datetime(2026, 12, 1, 12, tzinfo=ZONE)


def draft(first: int, **rates: Any) -> dict[str, Any]:
    """Return a draft of 50 prices, no two drafts alike."""
    prices = [{"price": f"{(100 + first + 37 * n) / 100:.2f}", "units": 1 + 3 * n} for n in range(50)]
    games = {"prices": prices, "counting": "climb_once"}
    return {"code": "draft", "name": "Draft", "currency": "USD", "games": games, **rates}


def solve(client: TestClient, scenarios: list[dict[str, Any]]) -> tuple[list[dict[str, Any]], float]:
    """Return the results, and the processor time that they took."""
    began = process_time()
    response = client.post("/v1/quotes", json={"scenarios": scenarios})
    assert response.status_code == 200, response.text
    return response.json()["results"], process_time() - began


def refused(results: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [result["problem"] for result in results if result["problem"]]


def test_ten_thousand_games_over_fifty_prices_are_answered_once_but_not_a_hundred_times(client: TestClient) -> None:
    scenarios = [
        {"tariff": draft(first), "time_zone": "America/New_York", "at": "2026-12-01T21:00", "games": 10_000}
        for first in range(100)
    ]
    results, cpu_s = solve(client, scenarios)
    assert cpu_s < CPU_S_MAX
    assert results[0]["answer"]["offers"][0]["least"]["split"]
    problems = refused(results)
    assert 50 < len(problems) < 100
    assert {problem["code"] for problem in problems} == {"too_much_work"}
    (error,) = problems[0]["errors"]
    assert f"at most {STEPS_MAX} in a request" in error["expected"]
    assert "fewer units" in error["expected"]


def test_a_thousand_real_questions_stay_far_below_the_bound(client: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    route.schedule(venue, route.tariff()["id"])
    scenarios = [{"venue_id": venue, "at": "2026-12-01T21:00", "games": 1 + number % 30} for number in range(1_000)]
    assert refused(solve(client, scenarios)[0]) == []


def test_long_plays_over_many_windows_are_bounded_together(client: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    tiers = [{"from_minutes": 60 * n, "price": "1.00", "per_minutes": 60, "step_minutes": 1} for n in range(50)]
    halls = [
        route.post("/tariffs", {"code": code, "name": code, "currency": "USD", "metered": {"tiers": tiers}})
        for code in ("a", "b")
    ]
    weekly = [
        {
            "name": str(n), "days": ["mon", "tue", "wed", "thu", "fri", "sat", "sun"],
            "from": f"{6 + n // 6:02}:{10 * (n % 6):02}", "to": f"{6 + n // 6:02}:{10 * (n % 6) + 5:02}", "tariff": halls[1]["id"],
        }
        for n in range(100)
    ]  # fmt: skip
    route.schedule(venue, halls[0]["id"], weekly=weekly)
    play = {"venue_id": venue, "from_at": "2026-12-01T12:00", "to_at": "2027-01-01T12:00"}
    results, cpu_s = solve(client, [play] * 100)
    assert cpu_s < CPU_S_MAX
    assert results[0]["answer"]["total"] == "744.00"
    assert 0 < len(refused(results)) < 100


def test_many_questions_about_a_place_that_never_opens_are_bounded_together(client: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    weekly = [{"name": "Shut", "days": ["mon"], "from": "10:00", "to": "11:00", "tariff": None}] * 200
    route.post(f"/venues/{venue}/schedules", {"effective_on": "2026-11-01", "base": None, "weekly": weekly})
    results, cpu_s = solve(
        client, [{"venue_id": venue, "at": f"2026-12-{1 + n % 28:02}T12:00", "money": "1.00"} for n in range(1_000)]
    )
    assert cpu_s < CPU_S_MAX
    assert results[0]["answer"]["opens_at"] is None
    assert {problem["code"] for problem in refused(results)} == {"too_much_work"}


def test_the_pure_functions_count_their_own_steps() -> None:
    ladder = Ladder((Rung(100, 1), Rung(400, 6), Rung(700, 11)))
    work = Effort()
    split(ladder, 17, work=work)
    assert work.steps == 32 * 3
    for _ in range(2):
        split(ladder, 17, work=work)
    assert work.steps == 3 * 32 * 3, "what is kept in memory is counted as well: same question, same answer"
    with pytest.raises(PricingError, match="expected at most 95 in a request"):
        split(ladder, 17, work=Effort(steps_max=95))


def test_a_real_week_stays_a_hundred_times_below() -> None:
    hall = Tariff("USD", metered=Rate((Tier(0, 900, 60, 15),)), games=Ladder((Rung(100, 1), Rung(400, 6))), id="hall")
    place = Timetable(
        Calendar(ZONE), (Stretch(from_at=AT - timedelta(days=9), schedule=Schedule(id="week", base=hall)),)
    )
    work = Effort()
    place.between(AT, AT + timedelta(days=7), work=work)
    split(hall.games or Ladder(()), 100, work=work)
    assert work.steps * 100 < STEPS_MAX


def test_a_controller_that_drops_prices_of_many_long_tariffs_counts_them_in_memory_or_not(
    client: TestClient, route: Route
) -> None:
    """The first question about such a table took 3 s, and nothing counted it."""
    tariffs = []
    for number in range(85):
        body = draft(number)
        tariffs.append(route.post("/tariffs", {**body, "code": f"long-{number}", "minutes": body["games"]})["id"])
    windows = [
        {"name": f"W{n}", "days": ["mon"], "from": f"{6 + n // 12:02}:{5 * (n % 12):02}", "tariff": tariff}
        for n, tariff in enumerate(tariffs)
    ]
    venue = route.venue()["id"]
    listed = route.schedule(venue, tariffs[0], weekly=windows)["id"]
    keyed = {"schedule_id": listed, "keyed_at": "2026-02-01T15:00:00Z", "by": "Ana"}
    asked = {}
    for most in (1, 36, 37, 38):
        held = {"prices_max": most}
        controller = {"games": held, "minutes": held, "windows_per_day": 14}
        table = route.table(venue, label=f"{most}", placed_at="2026-01-05T15:00:00Z", controller=controller)["id"]
        route.post(f"/tables/{table}/keyings", keyed)
        asked[most] = {"table_id": table, "at": "2026-11-30T12:00", "money": "5.00"}
    results, cpu_s = solve(client, [asked[1]] * 100)
    assert {problem["code"] for problem in refused(results)} == {"too_much_work"}
    assert "state more prices" in refused(results)[0]["errors"][0]["expected"]
    assert cpu_s < 1
    for _ in range(2):
        results, _ = solve(client, [asked[36], asked[37], asked[36], asked[38]])
        assert [result["problem"] is None for result in results] == [True, True, True, False]
    assert solve(client, [asked[38]])[0][0]["problem"] is None
