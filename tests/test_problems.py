"""Problems: every code has its page, every refusal its shape, and every answer its frame."""

import ast
import re
from base64 import b64encode
from hashlib import sha256
from pathlib import Path

import pytest
from baizebook.pricing.errors import domain_error
from baizebook.web.problems import PROBLEMS
from fastapi.testclient import TestClient

from tests.conftest import Route

API = Path(__file__).parent.parent / "api"
ABSENT = "00000000-0000-4000-8000-000000000000"
OURS = {
    "bad_chemistry": "the message names the four chemistries",
    "bad_display": "the message names the two displays",
    "bad_hash": "computed here",
    "bad_id": "written here",
    "bad_nominal_volts": "the message names 6 and 12",
    "bad_number": "counted here",
    "bad_range": "computed here",
    "bad_spans": "computed here",
    "bad_story": "computed here",
    "bad_weekday": "the message names the seven days",
    "bad_weights": "computed here",
    "bad_work": "written here",
    "negative_amount": "computed here",
    "negative_base": "computed here",
    "no_money_meter": "asked of money meters only",
    "no_slope": "asked of two points or more",
    "not_holdable": "judged before it is planned",
    "not_in_force": "asked of the agreement in force",
    "not_keyed": "planned here",
    "reference_too_long": "written here",
    "settlement_does_not_add_up": "an invariant of money",
    "several_venues": "posted here",
    "statement_does_not_add_up": "an invariant of money",
    "too_few_postings": "posted here",
    "unbalanced_entry": "an invariant of money",
    "unknown_kind": "the message names the kinds",
    "unknown_profile": "the address names the profiles",
    "zero_posting": "posted here",
}
"""Codes that only a mistake of our own can raise, and why: they are in no catalogue, and answered as a 500."""


COMPUTED: dict[str, set[str]] = {
    "Fault(code, f'seen[{index}].{where}'": {"bad_money", "bad_units"},
    "Fault(code, f'{where}[": {"steps_not_rising", "tiers_not_rising"},
    "Problem(decision.code, errors=decision.faults)": set(),
    "Problem(code, headers=dict(refusal.headers": {"malformed", "not_found", "too_large", "method_not_allowed"},
}
"""Calls whose code is computed: how they begin, and the codes that they can raise (those of decisions are faults)."""


def sources() -> list[ast.Module]:
    """Return every module of the service."""
    return [ast.parse(path.read_text()) for path in sorted(API.rglob("*.py"))]


def takers(module: ast.Module) -> dict[str, int]:
    """Return the functions of a module that take a ``code``, and at which place."""
    found = {}
    for node in ast.walk(module):
        if isinstance(node, ast.FunctionDef) and node.name not in NO_ERRORS:
            names = [argument.arg for argument in node.args.args if argument.arg != "self"]
            if "code" in names:
                found[node.name] = names.index("code")
    return found


NO_ERRORS = {
    "__init__",
    "problem_page",
    "explain_problem",
    "read_tax_area",
    "_must_know_tax_area",
    "_set",
    "_review",
    "_dropped",
    "delete_tax_area",
}
"""Functions whose ``code`` is that of a page, a tax area, a piece of work or a limitation."""


def raised() -> tuple[set[str], list[str]]:
    """Return the codes that the sources can raise, and the calls whose code is not a literal there."""
    modules = [(module, takers(module)) for module in sources()]
    public = {name: place for _, own in modules for name, place in own.items() if not name.startswith("_")}
    codes: set[str] = set()
    elsewhere = []
    for module, own in modules:
        takes = {"Problem": 0, "Fault": 0, **public, **own}
        passing = {
            id(call)
            for node in ast.walk(module)
            if isinstance(node, ast.FunctionDef) and "code" in [argument.arg for argument in node.args.args]
            for call in ast.walk(node)
        }
        for node in ast.walk(module):
            if not isinstance(node, ast.Call):
                continue
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            if name not in takes or len(node.args) <= takes[name]:
                continue
            code = node.args[takes[name]]
            literals = {leaf.value for leaf in ast.walk(code) if isinstance(leaf, ast.Constant)}
            if isinstance(code, ast.Constant | ast.IfExp) and literals:
                codes |= {literal for literal in literals if isinstance(literal, str)}
            elif id(node) not in passing:
                elsewhere.append(ast.unparse(node)[:90])
    return codes, elsewhere


def test_every_code_that_can_be_raised_is_a_clients_and_explained_or_ours_and_a_500() -> None:
    codes, elsewhere = raised()
    codes = codes.union(*COMPUTED.values())
    assert len(codes) > 120
    assert codes - set(PROBLEMS) - set(OURS) == set(), "neither in the catalogue nor a mistake of ours"
    assert set(OURS) - codes == set(), "raised no more"
    assert set(OURS) & set(PROBLEMS) == set()
    assert set(PROBLEMS) - codes == set(), "explained, but never raised"
    unread = [call for call in elsewhere if not call.startswith(tuple(COMPUTED))]
    assert unread == [], "a code that this test cannot read: name its codes in COMPUTED"


def test_a_code_that_is_in_no_catalogue_is_a_mistake_of_ours_logged_and_answered_with_a_request_id(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise domain_error("unbalanced_entry", where="postings", found=1, expected="0")

    monkeypatch.setattr("baizebook.venues.routes.service.page_venues", refuse)
    answer = client.get("/v1/venues", headers={"X-Request-Id": "visit-9"})
    assert (answer.status_code, answer.json()["code"]) == (500, "internal_error")
    assert answer.headers["X-Request-Id"] == "visit-9"
    assert "visit-9" in answer.json()["detail"]
    assert "unbalanced" not in answer.text
    logged = [record for record in caplog.records if "visit-9" in record.getMessage()]
    assert logged[0].exc_info is not None
    assert "unbalanced_entry" in caplog.text


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
        "title": "Unknown time zone",
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
        ("PUT", f"/v1/venues/{ABSENT}", "DELETE, GET, HEAD, PATCH"),
        ("GET", "/v1/tariffs/check", "POST"),
        ("DELETE", f"/v1/tables/{ABSENT}/moves", "GET, HEAD, POST"),
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
        f"/v1/quotes?format=csv&venue_id={venue['id']}&money=1.00&at=2026-12-01T21:00",
        "/v1/tokens",
        "/healthz",
        "/readyz",
        "/openapi.json",
        "/problems/precondition_failed",
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


def test_the_documentation_runs_only_its_own_scripts_and_stands_in_no_frame(client: TestClient) -> None:
    for page in ("/docs", "/redoc"):
        answer = client.get(page)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["X-Frame-Options"] == "DENY"
        for script in re.findall(r"<script>(.*?)</script>", answer.text, re.DOTALL):
            assert f"'sha256-{b64encode(sha256(script.encode()).digest()).decode()}'" in policy
        script_sources = policy.split("script-src")[1].split(";")[0]
        assert "unsafe" not in script_sources


def test_the_favicon_is_our_own(client: TestClient) -> None:
    drawn = client.get("/assets/favicon.svg")
    assert drawn.headers["Content-Type"] == "image/svg+xml"
    assert drawn.text == (API / "web" / "assets" / "favicon.svg").read_text()
    assert client.get("/favicon.ico").content[:4] == b"\x00\x00\x01\x00"
    assert "/assets/favicon.svg" in client.get("/docs").text


def test_the_documentation_loads_nothing_from_elsewhere(client: TestClient) -> None:
    for page in ("/docs", "/redoc"):
        text = client.get(page).text
        links = re.findall(r'(?:src|href)="([^"]+)"', text)
        assert links
        assert all(link.startswith("/assets/") for link in links), links
        assert all(client.get(link).status_code == 200 for link in links)
    drawn = client.get("/assets/redoc.standalone.js").text
    assert len(drawn) > 500_000
    assert re.findall(r'src:"(?!data:)[^"]*"', drawn) == []


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
    for meters, expected in (([cash], "one of cash"), ([], "no meter: the table has none")):
        table = route.table(venue["id"], meters=meters)
        move = {"venue_id": None, "moved_at": "2026-11-25T17:00:00Z", "meters": {"plays": 1}}
        (error,) = at_noon.post(f"/v1/tables/{table['id']}/moves", json=move).json()["errors"]
        assert error == {"where": "meters.plays", "found": "no such meter", "expected": expected}


def test_a_page_a_picture_and_a_calendar_refuse_in_text_even_where_the_mistake_is_ours(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stumble(*_: object, **__: object) -> None:
        raise RuntimeError("planted")

    monkeypatch.setattr("baizebook.web.operation._check_parameters", stumble)
    nobody = "019b8b74-1805-7fb3-9a3a-000000000000"
    for address in (f"venues/{nobody}/price-card.html", f"venues/{nobody}/week.svg", f"venues/{nobody}/week.ics"):
        answer = client.get(f"/v1/{address}")
        assert (answer.status_code, answer.headers["content-type"].split(";")[0]) == (500, "text/plain"), address
    assert client.get("/v1/venues").headers["content-type"] == "application/problem+json"
