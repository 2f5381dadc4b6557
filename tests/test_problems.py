"""Problems: every code has its page, every refusal its shape, and every answer its frame."""

import re
from pathlib import Path

import pytest
from baizebook.web.problems import PROBLEMS
from fastapi.testclient import TestClient

from tests.conftest import Route

API = Path(__file__).parent.parent / "api"
_RAISED = re.compile(r'\b(?:domain_error|pricing_error|refused|Fault|Problem)\(\s*"([a-z0-9_]+)"')
ABSENT = "00000000-0000-4000-8000-000000000000"
NEVER_FROM_A_MESSAGE = {"bad_weights"}
"""Codes that only a mistake of our own can raise."""


def raised_in(*folders: str) -> set[str]:
    """Return the codes that the sources of these folders raise."""
    sources = [path for folder in folders for path in (API / folder).rglob("*.py")]
    return {code for path in sources for code in _RAISED.findall(path.read_text())}


def test_every_code_of_engine_and_foundation_stands_in_the_table() -> None:
    codes = raised_in("pricing", "schedules", "venues", "tariffs", "quotes", "access")
    assert len(codes) > 40
    assert codes - set(PROBLEMS) - NEVER_FROM_A_MESSAGE == set()


def test_the_table_is_written_for_people() -> None:
    for code, kind in PROBLEMS.items():
        assert re.fullmatch("[a-z][a-z0-9_]+", code)
        assert kind.status in (400, 401, 403, 404, 405, 408, 409, 412, 413, 422, 428, 500, 503)
        assert kind.title[0].isupper()
        assert not kind.title.endswith(".")
        assert kind.meaning.endswith(".")


def test_every_problem_has_a_page_that_explains_it_without_a_token(client: TestClient) -> None:
    del client.headers["Authorization"]
    for code, kind in PROBLEMS.items():
        page = client.get(f"/problems/{code}")
        assert (page.status_code, page.headers["Content-Type"]) == (200, "text/html; charset=utf-8")
        assert f"<h1>{kind.title}</h1>" in page.text
        assert f"status {kind.status}" in page.text
    assert client.get("/problems/no_such_code").status_code == 404


def test_a_problem_names_its_page_title_status_detail_and_each_mistake(client: TestClient) -> None:
    answer = client.post("/v1/venues", json={"name": "a", "time_zone": "Mars/Olympus", "currency": "USD"})
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json() == {
        "type": "/problems/unknown_time_zone",
        "title": "No such time zone",
        "code": "unknown_time_zone",
        "status": 422,
        "detail": "time_zone: found 'Mars/Olympus', expected an IANA name such as America/New_York",
        "errors": [
            {"where": "time_zone", "found": "'Mars/Olympus'", "expected": "an IANA name such as America/New_York"}
        ],
        "more_errors": 0,
    }


@pytest.mark.parametrize(
    ("method", "path", "allow"),
    [
        ("PUT", "/v1/venues", "GET, HEAD, POST"),
        ("DELETE", f"/v1/venues/{ABSENT}", "GET, HEAD, PATCH"),
        ("GET", "/v1/tariffs/check", "POST"),
        ("HEAD", f"/v1/tables/{ABSENT}/moves", "POST"),
        ("PATCH", "/v1/quotes", "GET, HEAD, POST"),
        ("POST", f"/v1/tokens/{ABSENT}", "DELETE"),
        ("POST", "/healthz", "GET, HEAD"),
    ],
)
def test_a_method_that_is_not_offered_is_answered_with_those_that_are(
    client: TestClient, method: str, path: str, allow: str
) -> None:
    answer = client.request(method, path)
    assert (answer.status_code, answer.headers["Allow"]) == (405, allow)
    if method != "HEAD":
        assert answer.json()["type"] == "/problems/method_not_allowed"


def test_an_address_that_is_none_is_not_found(client: TestClient) -> None:
    for path in ("/v1/nothing", "/v2/venues", "/v1", "/assets/../settings.py", "/assets/%2e%2e%2fsettings.py"):
        answer = client.get(path)
        assert (answer.status_code, answer.json()["type"]) == (404, "/problems/not_found"), path


def test_every_answer_carries_a_request_id_the_askers_own_if_it_is_sane(client: TestClient) -> None:
    for path in ("/v1/venues", "/v1/nothing", f"/v1/venues/{ABSENT}", "/healthz", "/v1/venues?limit=0"):
        assert client.get(path, headers={"X-Request-Id": "visit-7.b_C"}).headers["X-Request-Id"] == "visit-7.b_C"
        for insane in ("", "a b", "x" * 81, "<script>", "a\x01"):
            made = client.get(path, headers=[(b"X-Request-Id", insane.encode())]).headers["X-Request-Id"]
            assert re.fullmatch("[0-9a-f]{32}", made)
    sent = {"X-Request-Id": "visit-8", "Idempotency-Key": "k"}
    body = {"name": "a", "time_zone": "UTC", "currency": "USD"}
    for _ in range(2):
        assert client.post("/v1/venues", json=body, headers=sent).headers["X-Request-Id"] == "visit-8"


def test_head_is_get_without_the_body(client: TestClient, route: Route) -> None:
    venue, tariff = route.venue(), route.tariff()
    route.schedule(venue["id"], tariff["id"])
    for path in (
        "/v1/venues",
        f"/v1/venues/{venue['id']}",
        f"/v1/venues/{ABSENT}",
        f"/v1/venues/{venue['id']}/week?on=2026-12-01",
        f"/v1/quotes?venue_id={venue['id']}&money=1.00&at=2026-12-01T21:00",
        f"/v1/quotes.csv?venue_id={venue['id']}&money=1.00&at=2026-12-01T21:00",
        "/v1/tokens",
        "/healthz",
        "/readyz",
        "/openapi.json",
        "/problems/stale",
    ):
        head, get = client.head(path), client.get(path)
        assert (head.status_code, head.content) == (get.status_code, b"")
        for header in ("Content-Type", "ETag", "Content-Length", "Cache-Control"):
            assert head.headers.get(header) == get.headers.get(header), (path, header)


def test_it_says_that_it_is_alive_and_ready(client: TestClient) -> None:
    del client.headers["Authorization"]
    assert client.get("/healthz").json() == {"status": "alive"}
    ready = client.get("/readyz").json()
    assert ready["status"] == "ready"


def test_whoever_opens_the_service_in_a_browser_comes_to_its_documentation(client: TestClient) -> None:
    del client.headers["Authorization"]
    assert client.get("/", follow_redirects=False).headers["Location"] == "/docs"
    assert "swagger" in client.get("/").text


def test_the_documentation_loads_nothing_from_elsewhere(client: TestClient) -> None:
    for page in ("/docs", "/redoc"):
        text = client.get(page).text
        links = re.findall(r'(?:src|href)="([^"]+)"', text)
        assert links
        assert all(link.startswith("/assets/") for link in links), links
        assert all(client.get(link).status_code == 200 for link in links)


@pytest.mark.parametrize(
    ("observed", "where", "found", "expected"),
    [
        ({"supply": None}, "supply", "null", "an object"),
        ({"supply": {"volts": "12.4", "rested_minutes": "5"}}, "supply.rested_minutes", '"5"', "a whole number"),
        ({"supply": {"volts": "12.4", "rested_minutes": -5}}, "supply.rested_minutes", "-5", "at least 0"),
        ({"done": "clock_set"}, "done", '"clock_set"', "a list"),
        ({"note": 5}, "note", "5", "text"),
        ({"controller_version": ""}, "controller_version", '""', "at least 1 character"),
        ({"controller_version": "é"}, "controller_version", '"\\u00e9"', "printable ASCII characters, at least one"),
        ({"settings": {"days": []}}, "settings.days", "a list of 0", "at least 1 item"),
        (
            {"meters": {"Cash": 5}},
            "meters.Cash",
            '"Cash"',
            "a short name such as cash: small letters, digits and _, a letter first, at most 40",
        ),
    ],
)
def test_what_a_message_may_not_hold_is_said_in_plain_words(
    client: TestClient, observed: dict[str, object], where: str, found: str, expected: str
) -> None:
    reading = {"id": ABSENT, "table_id": ABSENT, "taken_at": "2026-11-25T12:00:00Z", **observed}
    (result,) = client.post("/v1/readings", json={"readings": [reading]}).json()["results"]
    assert result["problem"]["errors"] == [{"where": where, "found": found, "expected": expected}]


def test_a_meter_that_a_moved_table_does_not_have_is_answered_with_those_that_it_has(
    at_noon: TestClient, route: Route
) -> None:
    venue = route.venue()
    cash = {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 6, "resets": "never"}
    for meters, expected in (([cash], "one of cash"), ([], "none: the table has no meters")):
        table = route.table(venue["id"], meters=meters)
        move = {"venue_id": None, "moved_at": "2026-11-25T17:00:00Z", "meters": {"plays": 1}}
        (error,) = at_noon.post(f"/v1/tables/{table['id']}/moves", json=move).json()["errors"]
        assert error == {"where": "meters.plays", "found": "no such meter", "expected": expected}
