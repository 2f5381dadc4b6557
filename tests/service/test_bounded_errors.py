"""An answer tells its first 100 mistakes, in short, and how many more there are: whatever was sent."""

import gzip
import json
from typing import Any
from uuid import uuid4

import baizebook.web.batch as batch
import pytest
from baizebook.pricing import Fault
from baizebook.web.batch import ItemResultOut
from baizebook.web.errors import Problem, bound_errors, problem_out
from fastapi.testclient import TestClient

from tests.conftest import Route


def refused(mistakes: int) -> ItemResultOut:
    faults = [Fault("invalid", f"at[{n}]", "one", "another") for n in range(mistakes)]
    return ItemResultOut(id=None, outcome="refused", problem=problem_out(Problem("invalid", errors=faults)))


def told(results: list[ItemResultOut]) -> list[tuple[int, int]]:
    return [(len(one.problem.errors), one.problem.more_errors) for one in results if one.problem]


def test_the_first_hundred_mistakes_of_all_results_are_told_and_the_rest_is_counted() -> None:
    recorded = ItemResultOut(id=uuid4(), outcome="recorded", problem=None)
    bounded = bound_errors([refused(60), recorded, refused(60), refused(3), refused(120)])
    assert told(bounded) == [(60, 0), (40, 20), (0, 3), (0, 120)]
    assert bounded[1] == recorded
    assert told(bound_errors([refused(100)])) == [(100, 0)]


def test_a_problem_without_a_list_counts_as_one_mistake() -> None:
    bounded = bound_errors([refused(0)] * 100 + [refused(1)])
    assert told(bounded)[-2:] == [(0, 0), (0, 1)]


def test_no_text_of_a_mistake_is_longer_than_a_thousand_characters() -> None:
    (error,) = problem_out(Problem("invalid", errors=[Fault("invalid", "x" * 5_000, "y" * 5_000, "z" * 5_000)])).errors
    assert {len(error.where), len(error.found), len(error.expected)} == {1_000}


def nonsense(route: Route) -> dict[str, tuple[str, Any]]:
    """Return for each operation with many mistakes at once what makes as many as it can take."""
    venue = route.venue()["id"]
    wrong = {"colour": "green", "size": 7}
    return {
        "readings": ("/readings", {"readings": [wrong] * 5_000}),
        "keyings": ("/keyings/batch", {"keyings": [wrong] * 100}),
        "collections": ("/collections/batch", {"collections": [wrong] * 25}),
        "jobs": ("/jobs/batch", {"jobs": [wrong] * 100}),
        "quotes": ("/quotes", {"scenarios": [{"at": "2026-12-01T21:00", "money": "1.00"}] * 1_000}),
        "one object": ("/venues", {f"field {n}": n for n in range(5_000)}),
        "a long name": ("/venues", {"x" * 500_000: 1}),
        "a list": (f"/venues/{venue}/schedules", {"dates": [wrong] * 1_000}),
        "not a list": ("/readings", [1] * 199_000),
    }


def test_nonsense_is_answered_in_well_under_two_megabytes(client: TestClient, route: Route) -> None:
    for name, (path, body) in nonsense(route).items():
        content = gzip.compress(json.dumps(body).encode())
        headers = {"Content-Type": "application/json", "Content-Encoding": "gzip", "Idempotency-Key": name}
        answer = client.post(f"/v1{path}", content=content, headers=headers)
        assert answer.status_code in (200, 422), (name, answer.text[:300])
        assert len(answer.content) < 1_500_000, (name, len(answer.content))
        found = answer.json()
        results = [one["problem"] for one in found.get("results", [{"problem": found}])]
        assert sum(len(problem["errors"]) for problem in results) <= 100, name
        mistakes = sum(len(problem["errors"]) + problem["more_errors"] for problem in results)
        assert mistakes >= min(len(results), 100), name


@pytest.mark.parametrize("number", [150, 600])
def test_unknown_parameters_are_told_in_the_first_hundred_and_how_many_more(client: TestClient, number: int) -> None:
    answer = client.get("/v1/venues", params={f"p{n}": "1" for n in range(number)})
    assert answer.status_code == 422
    assert (len(answer.json()["errors"]), answer.json()["more_errors"]) == (100, number - 100)


def test_an_import_tells_its_first_hundred_refused_lines(client: TestClient) -> None:
    lines = "table,taken at,volts\n" + "Nowhere,2026-11-20 17:40,12.62\n" * 1
    lines += "".join(f"Nowhere {n},2026-11-20 17:40,12.62\n" for n in range(400))
    path = "/v1/imports?of=readings&mode=lines&preview=true"
    answer = client.post(path, content=lines, headers={"Content-Type": "text/csv"})
    assert answer.status_code == 200, answer.text[:300]
    outcomes = answer.json()["lines"]
    assert len(outcomes) == 401
    assert [line["line"] for line in outcomes if line["problem"]] == list(range(2, 102))


def test_a_long_answer_is_not_kept_only_its_outcome(client: TestClient, route: Route) -> None:
    table = route.table(route.venue()["id"])["id"]
    readings = [
        {"id": str(uuid4()), "table_id": table, "taken_at": f"2026-11-{1 + n // 24:02}T{n % 24:02}:00:00Z"}
        for n in range(720)
    ]
    headers = {"Idempotency-Key": "long"}
    first = client.post("/v1/readings", json={"readings": readings}, headers=headers)
    assert first.status_code == 200
    assert len(first.content) > 64_000
    again = client.post("/v1/readings", json={"readings": readings}, headers=headers)
    assert (again.status_code, again.json()["code"]) == (409, "answer_not_kept")
    assert "status 200" in again.json()["detail"]


def test_only_the_first_hundred_mistakes_of_a_batch_are_put_into_words(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """5,000 readings that are none held the writers' line for half a second."""
    worded: list[int] = []
    properly = batch.from_validation
    monkeypatch.setattr(batch, "from_validation", lambda errors: worded.append(len(errors)) or properly(errors))
    answer = client.post("/v1/readings", json={"readings": [{"x": "y", "z": 1}] * 5_000}).json()
    assert answer["refused"] == 5_000
    assert sum(worded) <= 104
    assert {one["problem"]["code"] for one in answer["results"]} == {"invalid"}
    mistakes = [len(one["problem"]["errors"]) + one["problem"]["more_errors"] for one in answer["results"]]
    assert set(mistakes) == {5}
    assert sum(len(one["problem"]["errors"]) for one in answer["results"]) == 100
