"""What an amount buys at a place and time, asked through the service, on both databases."""

import csv
import io
from datetime import UTC, datetime
from typing import Any

import pytest
from baizebook.quotes.schemas import QuoteOut, ResultsOut
from fastapi.testclient import TestClient
from httpx2 import Response
from pydantic import BaseModel

from tests.conftest import WEEKDAY, Route

ABSENT = "00000000-0000-4000-8000-000000000000"
METERED = {
    "tier_mode": "add",
    "tiers": [{"from_minutes": 0, "price": "9.00", "per_minutes": 60, "step_minutes": 15}],
    "minimum": "3.00",
    "maximum": {"amount": "40.00", "per_minutes": 720},
}
HALL = {"code": "hall", "name": "Hall", "currency": "USD", "metered": METERED}


@pytest.fixture
def lantern(at_noon: TestClient, route: Route) -> dict[str, str]:  # noqa: ARG001
    """A venue and a table of it, games and minutes all week, closed on Mondays, an evening for free, a hall on Sundays.

    The clock stands at noon of Wednesday 2026-11-25, in New York.
    """
    venue, tariff = route.venue(), route.tariff()
    free = route.post("/tariffs", {"code": "open-house", "name": "Open house", "currency": "USD", "free": True})
    hall = route.post("/tariffs", HALL)
    weekly = [
        {"name": "Closed", "days": ["mon"], "tariff": None},
        {"name": "=Open house", "days": ["thu"], "from": "19:00", "tariff": free["id"]},
        {"name": "Hall", "days": ["sun"], "tariff": hall["id"]},
    ]
    schedule = route.schedule(venue["id"], tariff["id"], weekly=weekly)
    table = route.table(venue["id"])
    return {"venue": venue["id"], "table": table["id"], "tariff": tariff["id"], "schedule": schedule["id"]}


def ask(client: TestClient, **question: Any) -> dict[str, Any]:
    """Ask with GET; the answer, or the problem."""
    return _as_promised(client.get("/v1/quotes", params=question), QuoteOut)


def solve(client: TestClient, *scenarios: dict[str, Any]) -> list[dict[str, Any]]:
    """Ask with POST; the results."""
    response = client.post("/v1/quotes", json={"scenarios": scenarios})
    assert response.status_code == 200, response.text
    return _as_promised(response, ResultsOut)["results"]  # type: ignore[no-any-return]


def _as_promised(response: Response, promised: type[BaseModel]) -> dict[str, Any]:
    """Return an answer, which must be its message type to the last byte, or a problem: no type is built to send it."""
    if response.status_code == 200:
        assert promised.model_validate_json(response.content).model_dump_json().encode() == response.content
    return response.json()  # type: ignore[no-any-return]


def test_ten_dollars_on_tuesday_at_nine_buy_fifteen_games_or_fifty_minutes(
    at_noon: TestClient, lantern: dict[str, str]
) -> None:
    assert ask(at_noon, venue_id=lantern["venue"], day="tuesday", time="21:00", money="10.00") == {
        "venue_id": lantern["venue"],
        "table_id": None,
        "basis": "listed",
        "since": "2026-01-01T06:00:00-05:00",
        "at": "2026-12-01T21:00:00-05:00",
        "trading_on": "2026-12-01",
        "currency": "USD",
        "money": "10.00",
        "status": "open",
        "opens_at": None,
        "tariff": {"id": lantern["tariff"], "code": "weekday", "version": 1},
        "window": {
            "name": "Base",
            "kind": "base",
            "schedule_id": lantern["schedule"],
            "of": "venue",
            "from_at": "2026-12-01T06:00:00-05:00",
            "to_at": "2026-12-03T19:00:00-05:00",
        },
        "payable": None,
        "next_payable": None,
        "cautions": [],
        "listed": None,
        "offers": [
            {
                "kind": "games",
                "units": 15,
                "spends": "10.00",
                "left": "0.00",
                "per_unit": "0.67",
                "lines": [
                    {"what": "7.00 buys 11 games", "units": 11, "amount": "7.00"},
                    {"what": "4 × 0.75, a game each", "units": 4, "amount": "3.00"},
                ],
                "next_break": {"add": "1.00", "units": 17},
                "least": None,
            },
            {
                "kind": "minutes",
                "units": 50,
                "spends": "8.00",
                "left": "2.00",
                "per_unit": "0.16",
                "lines": [{"what": "2 × 4.00, 25 minutes each", "units": 50, "amount": "8.00"}],
                "next_break": {"add": "2.00", "units": 84},
                "ends_at": "2026-12-01T21:50:00-05:00",
                "least": None,
            },
        ],
    }


def test_a_time_is_said_as_an_instant_a_wall_clock_a_day_or_not_at_all(
    at_noon: TestClient, lantern: dict[str, str]
) -> None:
    for question, found in (
        ({}, "2026-11-25T12:00:00-05:00"),
        ({"at": "2026-12-01T21:00"}, "2026-12-01T21:00:00-05:00"),
        ({"at": "2026-12-01t21:00:30.25"}, "2026-12-01T21:00:30.250000-05:00"),
        ({"at": "2026-12-02T03:00:00+01:00"}, "2026-12-01T21:00:00-05:00"),
        ({"at": "2026-12-02T02:00Z"}, "2026-12-01T21:00:00-05:00"),
        ({"at": "2026-11-01T01:30"}, "2026-11-01T01:30:00-04:00"),
        ({"at": "2027-03-14T02:30"}, "2027-03-14T03:30:00-04:00"),
        ({"day": "wed", "time": "12:00"}, "2026-12-02T12:00:00-05:00"),
        ({"day": "wednesday", "time": "12:01"}, "2026-11-25T12:01:00-05:00"),
        ({"day": "fri", "time": "01:00"}, "2026-11-28T01:00:00-05:00"),
    ):
        asked = {"venue_id": lantern["venue"], "money": "1.00", **question}
        (result,) = solve(at_noon, asked)
        assert ask(at_noon, **asked)["at"] == found == result["answer"]["at"], question


def test_closed_says_when_it_opens_and_free_says_free(at_noon: TestClient, lantern: dict[str, str]) -> None:
    closed = ask(at_noon, venue_id=lantern["venue"], day="mon", time="21:00", money="10.00")
    assert (closed["status"], closed["opens_at"], closed["offers"], closed["tariff"]) == (
        "closed", "2026-12-01T06:00:00-05:00", [], None,
    )  # fmt: skip
    free = ask(at_noon, venue_id=lantern["venue"], day="thu", time="21:00", money="10.00")
    assert (free["status"], free["opens_at"], free["offers"], free["tariff"]["code"]) == (
        "free",
        None,
        [],
        "open-house",
    )


def test_the_least_that_buys_so_much_and_what_a_table_can_take_of_it(
    at_noon: TestClient, lantern: dict[str, str]
) -> None:
    venue = ask(at_noon, venue_id=lantern["venue"], games=6)["offers"][0]
    assert (venue["units"], venue["least"]) == (6, {"money": "4.00", "pay": None, "split": []})
    table = ask(at_noon, table_id=lantern["table"], games=3)["offers"][0]
    assert (table["units"], table["least"]) == (3, {"money": "2.25", "pay": "2.25", "split": []})
    minutes = ask(at_noon, table_id=lantern["table"], minutes=60)["offers"][0]
    assert (minutes["kind"], minutes["units"], minutes["least"]["money"]) == ("minutes", 84, "12.00")
    odd = ask(at_noon, table_id=lantern["table"], money="0.80")
    assert (odd["payable"], odd["next_payable"]) == (False, "1.00")
    even = ask(at_noon, table_id=lantern["table"], money="0.75")
    assert (even["payable"], even["next_payable"]) == (True, None)


def test_metered_time_is_asked_by_money_and_by_minutes(at_noon: TestClient, lantern: dict[str, str]) -> None:
    (for_money,) = ask(at_noon, venue_id=lantern["venue"], at="2026-11-29T12:00", money="10.00")["offers"]
    assert (for_money["kind"], for_money["units"], for_money["spends"], for_money["left"]) == (
        "metered", 60, "9.00", "1.00",
    )  # fmt: skip
    (for_time,) = ask(at_noon, venue_id=lantern["venue"], at="2026-11-29T12:00", minutes=100)["offers"]
    assert (for_time["units"], for_time["least"]["money"]) == (105, "15.75")


def test_a_line_an_offer_as_csv(at_noon: TestClient, lantern: dict[str, str]) -> None:
    question = f"venue_id={lantern['venue']}&at=2026-12-01T21:00&money=10.00"
    answer = at_noon.get(f"/v1/quotes?{question}&format=csv")
    assert answer.headers["Content-Type"] == "text/csv; header=present; charset=utf-8"
    assert answer.text.count("\r\n") == 3
    games, minutes = csv.DictReader(io.StringIO(answer.text))
    assert games == {
        "venue_id": lantern["venue"], "table_id": "", "basis": "listed", "at": "2026-12-01 21:00:00", "at_offset": "-05:00", "trading_on": "2026-12-01",
        "currency": "USD", "money": "10.00", "status": "open", "tariff": "weekday", "version": "1", "window": "Base", "kind": "games",
        "units": "15", "spends": "10.00", "left": "0.00", "per_unit": "0.67", "next_break_add": "1.00", "next_break_units": "17",
        "ends_at": "", "ends_at_offset": "", "least_money": "", "least_pay": "", "cautions": "",
        "detail": "",
    }  # fmt: skip
    assert (minutes["units"], minutes["ends_at"]) == ("50", "2026-12-01 21:50:00")
    for at, status, detail in (
        ("2026-11-30T12:00", "closed", "closed, opens Tue 06:00"),
        ("2026-12-03T20:00", "free", "free"),
    ):
        question = f"venue_id={lantern['venue']}&at={at}&money=1.00"
        (line,) = csv.DictReader(io.StringIO(at_noon.get(f"/v1/quotes?{question}&format=csv").text))
        assert (line["status"], line["kind"], line["detail"]) == (status, "", detail)


def test_a_refusal_is_one_line_of_text_where_a_cell_asked(at_noon: TestClient, lantern: dict[str, str]) -> None:
    for query, status, said in (
        ("venue_id=@venue&money=1.00&format=text", 422, "column: found nothing, expected a column"),
        (
            "venue_id=@venue&money=1.001&format=csv",
            422,
            "money: found '1.001', expected at most 2 decimals, as USD has",
        ),
        ("venue_id=@venue&money=-1&format=csv", 422, "query.money: found"),
        (f"venue_id={ABSENT}&money=1.00&format=csv", 404, "Not found: Venue not found."),
    ):
        answer = at_noon.get(f"/v1/quotes?{query}".replace("@venue", lantern["venue"]))
        assert (answer.status_code, answer.headers["Content-Type"]) == (status, "text/plain; charset=utf-8")
        assert said in answer.text
        assert "\n" not in answer.text
    other = at_noon.get("/v1/quotes?format=csv&money=1.00", headers={"Authorization": "Bearer nobody"})
    assert (other.status_code, "WWW-Authenticate" in other.headers) == (401, True)
    assert other.text.count("{") == 0


def test_one_bare_value_for_a_cell(at_noon: TestClient, lantern: dict[str, str]) -> None:
    def cell(at: str, column: str, **more: str) -> str:
        query = {"venue_id": lantern["venue"], "at": at, "money": "10.00", "format": "text", "column": column, **more}
        answer = at_noon.get("/v1/quotes", params=query)
        assert (answer.status_code, answer.headers["Content-Type"]) == (200, "text/plain; charset=utf-8"), answer.text
        return answer.text

    tuesday, monday, thursday = "2026-12-01T21:00", "2026-11-30T21:00", "2026-12-03T21:00"
    assert cell(tuesday, "units") == "15"
    assert cell(tuesday, "units", kind="minutes") == "50"
    assert cell(tuesday, "per_unit", kind="games") == "0.67"
    assert cell(tuesday, "units", kind="metered") == "metered not sold"
    assert cell(tuesday, "least_money") == ""
    assert (cell(monday, "units"), cell(monday, "status")) == ("closed, opens Tue 06:00", "closed")
    assert (cell("2026-12-03T20:00", "per_unit"), cell("2026-12-03T20:00", "status")) == ("free", "free")
    assert cell(thursday, "window") == "'=Open house"


BAD_QUESTIONS: list[tuple[str, int, str, str | None]] = [
    ("venue_id=@venue", 422, "not_one_question", "money"),
    ("venue_id=@venue&money=1.00&games=1", 422, "not_one_question", "money"),
    ("money=1.00", 422, "invalid", "venue_id"),
    ("venue_id=@venue&table_id=@table&money=1.00", 422, "invalid", "venue_id"),
    (f"venue_id={ABSENT}&money=1.00", 404, "not_found", None),
    (f"table_id={ABSENT}&money=1.00", 404, "not_found", None),
    ("venue_id=lantern&money=1.00", 422, "invalid", "query.venue_id"),
    ("venue_id=%00&money=1.00", 422, "invalid", "query.venue_id"),
    ("venue_id=@venue&money=1.001", 422, "bad_money", "money"),
    ("venue_id=@venue&money=-1.00", 422, "invalid", "query.money"),
    ("venue_id=@venue&money=1e999", 422, "invalid", "query.money"),
    ("venue_id=@venue&money=NaN", 422, "invalid", "query.money"),
    ("venue_id=@venue&money=1000000000000000000000000000000", 422, "invalid", "query.money"),
    ("venue_id=@venue&money=999999999999.99", 422, "too_much_money", "money"),
    ("venue_id=@venue&money=1.00%00", 422, "invalid", "query.money"),
    ("venue_id=@venue&money=%ED%A0%80", 422, "invalid", "query.money"),
    ("venue_id=@venue&games=0", 422, "invalid", "query.games"),
    ("venue_id=@venue&games=1.5", 422, "invalid", "query.games"),
    ("venue_id=@venue&games=10001", 422, "invalid", "query.games"),
    ("venue_id=@venue&minutes=99999999999999999999", 422, "invalid", "query.minutes"),
    ("venue_id=@venue&money=1.00&players=0", 422, "invalid", "query.players"),
    ("venue_id=@venue&money=1.00&day=tuesday", 422, "invalid", "time"),
    ("venue_id=@venue&money=1.00&time=21:00", 422, "invalid", "day"),
    ("venue_id=@venue&money=1.00&day=tue&time=21:00&at=2026-12-01T21:00", 422, "invalid", "at"),
    ("venue_id=@venue&money=1.00&day=someday&time=21:00", 422, "invalid", "query.day"),
    ("venue_id=@venue&money=1.00&day=tue&time=25:00", 422, "invalid", "query.time"),
    ("venue_id=@venue&money=1.00&at=2026-02-30T21:00", 422, "invalid", "at"),
    ("venue_id=@venue&money=1.00&at=1999-12-31T21:00", 422, "invalid", "query.at"),
    ("venue_id=@venue&money=1.00&at=2026-12-01", 422, "invalid", "query.at"),
    ("venue_id=@venue&money=1.00&at=2025-12-01T21:00", 409, "no_schedule_yet", "at"),
    ("venue_id=@venue&money=1.00&basis=keyed", 422, "invalid", "query.basis"),
    ("venue_id=@venue&money=1.00&format=xml", 422, "invalid", "query.format"),
    ("venue_id=@venue&money=1.00&column=units", 422, "invalid", "column"),
    ("venue_id=@venue&money=1.00&kind=games", 422, "invalid", "kind"),
    ("venue_id=@venue&money=1.00&tiem=21:00", 422, "invalid", "query.tiem"),
    ("venue_id=@venue&money=1.00&money=2.00", 422, "invalid", "query.money"),
]


def test_questions_that_make_no_sense_are_refused_by_code_and_place(
    at_noon: TestClient, lantern: dict[str, str]
) -> None:
    for query, status, code, where in BAD_QUESTIONS:
        query = query.replace("@venue", lantern["venue"]).replace("@table", lantern["table"])
        answer = at_noon.get(f"/v1/quotes?{query}")
        problem = answer.json()
        found = (answer.status_code, problem["type"], [error["where"] for error in problem["errors"]])
        assert found == (status, f"/problems/{code}", [] if where is None else [where]), query
        assert not problem["detail"].startswith(":"), query


def test_a_purchase_is_followed_event_by_event_and_adds_up(at_noon: TestClient, lantern: dict[str, str]) -> None:
    events = [
        {"kind": "insert", "at": "2026-12-01T20:00:00", "amount": "1.00"},
        {"kind": "insert", "at": "2026-12-01T20:01:00", "amount": "5.00"},
        {"kind": "start", "at": "2026-12-01T20:02:00"},
        {"kind": "insert", "at": "2026-12-02T01:30:00Z", "amount": "1.00"},
    ]
    (result,) = solve(at_noon, {"table_id": lantern["table"], "events": events})
    answer = result["answer"]
    assert [(s["kind"], s["granted"], s["credit"], s["left"]) for s in answer["steps"]] == [
        ("insert", 1, 1, "0.25"), ("insert", 7, 8, "0.50"), ("start", 0, 7, "0.50"), ("insert", 2, 9, "0.00"),
    ]  # fmt: skip
    assert (answer["kind"], answer["units"], answer["money"], answer["spends"], answer["left"]) == (
        "purchase", 10, "7.00", "7.00", "0.00",
    )  # fmt: skip
    assert answer["steps"][3]["at"] == "2026-12-01T20:30:00-05:00"
    minutes = [{"kind": "insert", "at": "2026-12-01T20:00", "amount": "4.00"}]
    (result,) = solve(at_noon, {"venue_id": lantern["venue"], "events": minutes, "buys": "minutes"})
    assert (result["answer"]["units"], result["answer"]["ends_at"]) == (25, "2026-12-01T20:25:00-05:00")


def test_a_metered_play_is_priced_from_start_to_end(at_noon: TestClient, lantern: dict[str, str]) -> None:
    play = {"venue_id": lantern["venue"], "from_at": "2026-11-29T12:00", "to_at": "2026-11-29T13:40:00-05:00"}
    (result,) = solve(at_noon, play)
    answer = result["answer"]
    assert (answer["kind"], answer["total"], answer["minutes_billed"]) == ("metered", "15.75", 105)
    assert sum(float(line["amount"]) * 100 for line in answer["lines"]) == 1575
    assert (answer["from_at"], answer["to_at"]) == ("2026-11-29T12:00:00-05:00", "2026-11-29T13:40:00-05:00")


def test_a_draft_is_priced_in_a_time_zone_without_being_published(at_noon: TestClient, route: Route) -> None:
    draft = {"tariff": WEEKDAY, "time_zone": "Europe/Berlin"}
    quote, bare, hall, zoneless, wrong, mars = solve(
        at_noon,
        {**draft, "at": "2026-12-01T21:00", "money": "10.00"},
        {**draft, "day": "tue", "time": "21:00", "games": 6},
        {"tariff": HALL, "time_zone": "Asia/Tokyo", "from_at": "2026-12-01T21:00", "to_at": "2026-12-01T22:00", "players": 2},
        {"tariff": WEEKDAY, "money": "10.00"},
        {**draft, "tariff": {**WEEKDAY, "currency": "JPY"}, "money": "10"},
        {**draft, "time_zone": "Mars/Olympus", "money": "10"},
    )  # fmt: skip
    answer = quote["answer"]
    assert (answer["at"], answer["offers"][0]["units"], answer["tariff"]) == ("2026-12-01T21:00:00+01:00", 15, None)
    assert (answer["venue_id"], answer["table_id"], answer["window"]["schedule_id"]) == (None, None, None)
    assert bare["answer"]["offers"][0]["least"]["money"] == "4.00"
    assert hall["answer"]["total"] == "9.00"
    assert zoneless["problem"]["errors"][0]["where"] == "time_zone"
    assert wrong["problem"]["errors"][0]["where"] == "tariff.games.prices[0].price"
    assert mars["problem"]["type"] == "/problems/unknown_time_zone"
    assert at_noon.get("/v1/tariffs").json()["items"] == []
    assert route.tariff()["version"] == 1


def test_each_scenario_has_its_own_answer_or_problem_in_order(at_noon: TestClient, lantern: dict[str, str]) -> None:
    venue = {"venue_id": lantern["venue"]}
    tuesday = "2026-12-01T21:00"
    insert = {"kind": "insert", "at": tuesday, "amount": "1.00"}
    start = {"kind": "start", "at": tuesday}
    cases: list[tuple[dict[str, Any], str | None, str | None]] = [
        ({**venue, "at": tuesday, "money": "10.00"}, None, None),
        ({**venue, "at": tuesday, "money": "10.001"}, "bad_money", "money"),
        ({**venue, "at": tuesday}, "not_one_question", "money"),
        ({"at": tuesday, "money": "1.00"}, "invalid", "venue_id"),
        ({"venue_id": ABSENT, "money": "1.00"}, "not_found", None),
        ({**venue, "time_zone": "UTC", "money": "1.00"}, "invalid", "time_zone"),
        ({**venue, "tariff": WEEKDAY, "time_zone": "UTC", "money": "1.00"}, "invalid", "tariff"),
        ({**venue, "money": "1.00", "events": [insert]}, "invalid", "money"),
        ({**venue, "events": [insert], "from_at": tuesday}, "invalid", "from_at"),
        ({**venue, "buys": "games", "money": "1.00"}, "invalid", "buys"),
        ({**venue, "events": [{**insert, "at": "2026-12-01T22:00"}, insert]}, "events_out_of_order", "events[1].at"),
        ({**venue, "events": [start]}, "no_credit", "events[0]"),
        ({**venue, "events": [{"kind": "insert", "at": tuesday}]}, "invalid", "events[0].amount"),
        ({**venue, "events": [insert, {**start, "amount": "1.00"}]}, "invalid", "events[1].amount"),
        ({**venue, "events": [{**insert, "amount": "1.005"}]}, "bad_money", "events[0].amount"),
        ({**venue, "events": [{**insert, "amount": "0.00"}]}, "bad_money", "events[0].amount"),
        ({**venue, "events": [{**insert, "at": "2026-02-30T21:00"}]}, "invalid", "events[0].at"),
        ({**venue, "from_at": tuesday}, "invalid", "to_at"),
        ({**venue, "to_at": tuesday}, "invalid", "from_at"),
        ({**venue, "from_at": tuesday, "to_at": tuesday}, "kind_not_sold", None),
        ({**venue, "from_at": "2026-11-29T12:00", "to_at": "2026-11-29T11:00"}, "ends_before_start", "to_at"),
        ({**venue, "from_at": "2026-11-29T12:00", "to_at": "2099-11-29T11:00"}, "play_too_long", None),
        ({**venue, "at": "2025-01-01T12:00", "money": "1.00"}, "no_schedule_yet", "at"),
        ({**venue, "at": tuesday, "games": 6}, None, None),
    ]
    results = solve(at_noon, *(scenario for scenario, _, _ in cases))
    assert len(results) == 24
    for (scenario, code, where), result in zip(cases, results, strict=True):
        if code is None:
            assert result["problem"] is None
            assert result["answer"]["offers"][0]["units"] in (15, 6)
        else:
            assert result["answer"] is None, scenario
            assert result["problem"]["type"] == f"/problems/{code}", (scenario, result)
            if where is not None:
                assert result["problem"]["errors"][0]["where"] == where, (scenario, result)


def test_a_thousand_scenarios_are_answered_like_a_thousand_questions(
    at_noon: TestClient, lantern: dict[str, str]
) -> None:
    scenarios = [
        {"table_id": lantern["table"], "at": "2026-12-01T21:00", "money": f"{i // 4}.{i % 4 * 25:02}"}
        for i in range(1000)
    ]
    results = solve(at_noon, *scenarios)
    assert len(results) == 1000
    assert [results[i]["answer"]["offers"][0]["units"] for i in (0, 3, 15, 16, 28, 44, 56)] == [0, 1, 5, 6, 11, 17, 22]
    one = ask(at_noon, **scenarios[57])
    assert {name: results[57]["answer"][name] for name in one} == one


def test_a_question_at_a_frozen_instant_has_one_answer(at_noon: TestClient, lantern: dict[str, str]) -> None:
    question = f"/v1/quotes?venue_id={lantern['venue']}&money=10.00"
    assert len({at_noon.get(question).content for _ in range(3)}) == 1
    later = datetime(2026, 11, 25, 17, 0, 1, tzinfo=UTC)
    at_noon.app.state.clock = lambda: later  # type: ignore[attr-defined]
    assert at_noon.get(question).json()["at"] == "2026-11-25T12:00:01-05:00"
