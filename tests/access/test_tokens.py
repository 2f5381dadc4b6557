"""Who may do what: tokens, roles, and what does not exist for whom."""

import hashlib
from datetime import UTC, datetime

from baizebook.store import clock
from fastapi.testclient import TestClient
from sqlalchemy import Connection, Engine, inspect, text
from sqlalchemy.exc import OperationalError

from tests.conftest import Route
from tests.listening import listen, unlisten

ABSENT = "00000000-0000-4000-8000-000000000000"
ROLES = ("collector", "accountant", "venue", "device", "reader")

# Each operation, and which roles besides the owner it is for. {venue} and {table} are the principal's own.
OPERATIONS = [
    ("POST", "/v1/venues", ""),
    ("GET", "/v1/venues", "collector accountant venue reader"),
    ("GET", "/v1/venues/{venue}", "collector accountant venue reader"),
    ("PATCH", "/v1/venues/{venue}", ""),
    ("POST", "/v1/venues/{venue}/tables", ""),
    ("GET", "/v1/venues/{venue}/tables", "collector accountant venue reader"),
    ("GET", "/v1/tables/{table}", "collector accountant venue reader"),
    ("PATCH", "/v1/tables/{table}", ""),
    ("POST", "/v1/tables/{table}/moves", ""),
    ("POST", "/v1/tax-areas", ""),
    ("GET", "/v1/tax-areas", "collector accountant"),
    ("POST", "/v1/tariffs", ""),
    ("POST", "/v1/tariffs/check", ""),
    ("GET", "/v1/tariffs", "collector accountant reader"),
    ("GET", "/v1/tariffs/{tariff}", "collector accountant reader"),
    ("POST", "/v1/tariffs/{tariff}/rollout", ""),
    ("POST", "/v1/venues/{venue}/schedules", ""),
    ("POST", "/v1/tables/{table}/schedules", ""),
    ("GET", "/v1/venues/{venue}/schedules", "collector accountant reader"),
    ("GET", "/v1/venues/{venue}/week", "collector accountant venue reader"),
    ("POST", "/v1/tables/{table}/keyings", "collector"),
    ("GET", "/v1/tables/{table}/keyings", "collector accountant"),
    ("GET", "/v1/quotes?venue_id={venue}&money=10.00", "collector accountant venue reader"),
    ("POST", "/v1/quotes", "collector accountant venue reader"),
    ("GET", "/v1/me", "collector accountant venue device reader"),
    ("POST", "/v1/tokens", ""),
    ("GET", "/v1/tokens", ""),
    ("DELETE", "/v1/tokens/" + ABSENT, ""),
]


def test_each_role_may_do_what_it_is_for_and_nothing_else(client: TestClient, route: Route) -> None:
    venue, tariff = route.venue(), route.tariff()
    route.schedule(venue["id"], tariff["id"])
    own = {"venue": venue["id"], "table": route.table(venue["id"])["id"], "tariff": tariff["id"]}
    bound = {"venue": {"venue_id": own["venue"]}, "device": {"table_id": own["table"]}}
    for role in ROLES:
        headers = route.token(role, **bound.get(role, {}))
        for method, path, roles in OPERATIONS:
            body: dict[str, str] | None = {} if method in ("POST", "PATCH") else None
            answer = client.request(method, path.format(**own), json=body, headers=headers)
            may = role in roles.split()
            assert (answer.status_code != 403) == may, (role, method, path, answer.text)
            assert answer.status_code < 500, (role, method, path)
            if may and method == "GET":
                assert answer.status_code == 200, (role, path, answer.text)
            if not may:
                assert answer.json()["type"] == "/problems/forbidden"
                assert answer.json()["detail"] == f"The role {role} does not include this operation."


OF_A_VENUE = [
    "/v1/quotes?venue_id={venue}&money=10.00",
    "/v1/quotes?venue_id={venue}&money=10.00&basis=listed",
    "/v1/quotes?venue_id={venue}&money=10.001",
    "/v1/quotes?table_id={table}&money=10.00",
    "/v1/quotes?table_id={table}&money=10.00&at=2026-02-30T10:00",
    "/v1/quotes?table_id={workshop}&money=10.00",
    "/v1/quotes?format=csv&venue_id={venue}&money=10.00",
    "/v1/venues/{venue}/week",
    "/v1/venues/{own}/week?table_id={table}",
    "/v1/venues/{own}/week?table_id={workshop}",
]


def test_what_is_another_venues_reads_byte_for_byte_like_what_is_not_there(client: TestClient, route: Route) -> None:
    own, other, tariff = route.venue(name="Own"), route.venue(name="Other"), route.tariff()
    for venue in (own, other):
        route.schedule(venue["id"], tariff["id"])
    table, workshop = route.table(other["id"]), route.table(other["id"])
    route.post(f"/tables/{workshop['id']}/moves", {"venue_id": None, "moved_at": clock.now().isoformat()})
    headers = route.token("venue", venue_id=own["id"])
    there = {"own": own["id"], "venue": other["id"], "table": table["id"], "workshop": workshop["id"]}
    absent = {"own": own["id"], "venue": ABSENT, "table": ABSENT, "workshop": ABSENT}
    for path in OF_A_VENUE:
        others, nobodys = (client.get(path.format(**ids), headers=headers) for ids in (there, absent))
        assert (others.status_code, others.content) == (404, nobodys.content), path


def test_scenarios_tell_no_more_of_another_venue_than_of_an_absent_one(client: TestClient, route: Route) -> None:
    own, other, tariff = route.venue(name="Own"), route.venue(name="Other"), route.tariff()
    route.schedule(own["id"], tariff["id"])
    route.schedule(other["id"], tariff["id"])
    table = route.table(other["id"])
    headers = route.token("venue", venue_id=own["id"])
    scenarios = [{"venue_id": id, "money": "4.00"} for id in (own["id"], other["id"], ABSENT)]
    scenarios += [
        {"table_id": id, "from_at": "2026-12-01T20:00", "to_at": "2026-12-01T21:00"} for id in (table["id"], ABSENT)
    ]
    mine, others, nobodys, table, no_table = client.post(
        "/v1/quotes", json={"scenarios": scenarios}, headers=headers
    ).json()["results"]
    assert mine["answer"]["offers"][0]["units"] == 6
    assert others == nobodys
    assert others["problem"]["detail"] == "Venue not found."
    assert table == no_table
    assert table["problem"]["status"] == 404


BAD_HEADERS = [
    (None, 'Bearer realm="baizebook"', "no_token"),
    ("Basic b3duZXI6b3duZXI=", 'Bearer realm="baizebook", error="invalid_token"', "wrong_token"),
    ("Basic b3duZXI=", 'Bearer realm="baizebook", error="invalid_request"', "no_token"),
    ("Bearer", 'Bearer realm="baizebook", error="invalid_request"', "no_token"),
    ("Bearer bz_nobodys", 'Bearer realm="baizebook", error="invalid_token"', "wrong_token"),
    ("Bearer w\xe4hrung", 'Bearer realm="baizebook", error="invalid_token"', "wrong_token"),
]


def test_without_a_token_that_holds_nothing_is_answered(client: TestClient) -> None:
    del client.headers["Authorization"]
    ids = {"venue": ABSENT, "table": ABSENT, "tariff": ABSENT}
    for method, path, _ in OPERATIONS:
        for authorization, challenge, code in BAD_HEADERS:
            headers = [] if authorization is None else [(b"Authorization", authorization.encode("latin-1"))]
            answer = client.request(method, path.format(**ids), headers=headers)
            assert answer.status_code == 401, (method, path)
            assert answer.headers["WWW-Authenticate"] == f'Basic realm="baizebook", charset="UTF-8", {challenge}'
            assert answer.json()["type"] == f"/problems/{code}"


def test_a_token_is_shown_once_and_stored_nowhere(client: TestClient, engine: Engine) -> None:
    body = {"name": "Bram", "role": "collector"}
    headers = {"Idempotency-Key": "the first token"}
    made = client.post("/v1/tokens", json=body, headers=headers)
    again = client.post("/v1/tokens", json=body, headers=headers)
    assert made.status_code == 201
    assert (again.status_code, again.json()["type"]) == (409, "/problems/answer_not_kept")
    assert "status 201" in again.json()["detail"]
    assert len(client.get("/v1/tokens").json()["items"]) == 1
    token = made.json()["token"]
    assert len(token) == 46
    assert token not in client.get("/v1/tokens").text
    hashes = []
    with engine.connect() as connection:
        for table in inspect(engine).get_table_names():
            for row in connection.execute(text(f'SELECT * FROM "{table}"')).mappings():
                values = [bytes(v) if isinstance(v, bytes | memoryview) else str(v).encode() for v in row.values()]
                assert not any(token.encode() in value for value in values), table
                hashes += values
    assert hashlib.sha256(token.encode()).hexdigest().encode() in hashes


def test_tokens_are_listed_in_the_order_in_which_they_were_made(at_noon: TestClient, route: Route) -> None:
    venue = route.venue()
    route.token("collector")
    route.token("venue", venue_id=venue["id"])
    first, second = at_noon.get("/v1/tokens").json()["items"]
    assert (first["name"], first["role"], first["venue_id"]) == ("a collector", "collector", None)
    assert (second["role"], second["venue_id"], second["table_id"]) == ("venue", venue["id"], None)
    assert (second["made_at"], second["expires_at"], second["revoked_at"]) == ("2026-11-25T17:00:00Z", None, None)


def test_a_revoked_token_is_refused_from_then_on(client: TestClient, route: Route) -> None:
    made = route.post("/tokens", {"name": "Bram", "role": "collector"})
    headers = {"Authorization": f"Bearer {made['token']}"}
    assert client.get("/v1/venues", headers=headers).status_code == 200
    assert client.delete(f"/v1/tokens/{made['id']}").status_code == 204
    assert client.delete(f"/v1/tokens/{made['id']}").status_code == 204
    assert client.get("/v1/venues", headers=headers).status_code == 401
    assert client.delete(f"/v1/tokens/{ABSENT}").json()["detail"] == "Token not found."


def test_a_token_that_was_never_used_is_deleted_and_a_used_one_stays_on_the_list(
    at_noon: TestClient, route: Route
) -> None:
    used, unused = (route.post("/tokens", {"name": name, "role": "collector"}) for name in ("Bram", "Barm"))
    assert [item["first_used_at"] for item in at_noon.get("/v1/tokens").json()["items"]] == [None, None]
    headers = {"Authorization": f"Bearer {used['token']}"}
    for _ in range(2):
        assert at_noon.get("/v1/venues", headers=headers).status_code == 200
        at_noon.app.state.clock = lambda: datetime(2026, 11, 25, 18, tzinfo=UTC)  # type: ignore[attr-defined]
    for made in (used, unused):
        assert at_noon.delete(f"/v1/tokens/{made['id']}").status_code == 204
        assert at_noon.get("/v1/venues", headers={"Authorization": f"Bearer {made['token']}"}).status_code == 401
    (listed,) = at_noon.get("/v1/tokens").json()["items"]
    assert (listed["id"], listed["first_used_at"]) == (used["id"], "2026-11-25T17:00:00Z")
    assert listed["revoked_at"] == "2026-11-25T18:00:00Z"
    assert at_noon.delete(f"/v1/tokens/{unused['id']}").status_code == 404


def test_a_token_is_refused_from_the_instant_at_which_it_expires(at_noon: TestClient, route: Route) -> None:
    made = route.post("/tokens", {"name": "Bram", "role": "collector", "expires_at": "2026-11-25T12:30:00-05:00"})
    headers = {"Authorization": f"Bearer {made['token']}"}
    for minute, status in ((29, 200), (30, 401)):
        at = datetime(2026, 11, 25, 17, minute, tzinfo=UTC)
        at_noon.app.state.clock = lambda at=at: at  # type: ignore[attr-defined]
        assert at_noon.get("/v1/venues", headers=headers).status_code == status


BAD_TOKENS: list[tuple[dict[str, str | None], int, str | None, str | None]] = [
    ({"role": "venue"}, 422, "venue_id", "an id for the role venue"),
    ({"role": "device"}, 422, "table_id", "an id for the role device"),
    ({"role": "collector", "table_id": "table"}, 422, "table_id", "nothing for the role collector"),
    ({"role": "owner", "venue_id": "venue"}, 422, "venue_id", "nothing for the role owner"),
    ({"role": "venue", "venue_id": ABSENT}, 404, None, None),
    ({"role": "device", "table_id": ABSENT}, 404, None, None),
    ({"role": "collector", "expires_at": "2026-11-25T17:00:00Z"}, 422, "expires_at", "an instant to come"),
    ({"role": "king"}, 422, "role", None),
    ({"role": "collector", "expires_at": None}, 422, "expires_at", None),
    ({"role": "collector", "name": ""}, 422, "name", None),
    ({"role": "collector", "colour": "green"}, 422, "colour", "no such field"),
]


def test_a_token_is_bound_as_its_role_says_or_refused(at_noon: TestClient, route: Route) -> None:
    venue = route.venue()
    bound = {"venue_id": venue["id"], "table_id": route.table(venue["id"])["id"]}
    for body, status, where, expected in BAD_TOKENS:
        sent = {"name": "a token", **body}
        sent |= {name: bound[name] for name in bound if body.get(name) in ("venue", "table")}
        answer = at_noon.post("/v1/tokens", json=sent)
        assert answer.status_code == status, body
        if where is not None:
            (fault,) = answer.json()["errors"]
            assert fault["where"] == where
            assert expected in (None, fault["expected"])
    assert at_noon.get("/v1/tokens").json()["items"] == []


def test_a_venue_sees_a_table_for_as_long_as_it_stands_there(at_noon: TestClient, route: Route) -> None:
    own, other, tariff = route.venue(name="Own"), route.venue(name="Other"), route.tariff()
    for venue in (own, other):
        route.schedule(venue["id"], tariff["id"])
    table = route.table(own["id"])
    headers = route.token("venue", venue_id=own["id"])

    def status(at: str) -> int:
        query = f"table_id={table['id']}&money=4.00&at={at}"
        return at_noon.get(f"/v1/quotes?{query}", headers=headers).status_code

    assert (status("2026-11-25T11:59"), status("2026-11-25T12:01")) == (200, 200)
    route.post(f"/tables/{table['id']}/moves", {"venue_id": other["id"], "moved_at": "2026-11-25T12:00:00-05:00"})
    assert (status("2026-11-25T11:59"), status("2026-11-25T12:01")) == (200, 404)


def test_a_first_use_that_cannot_be_noted_is_answered_and_noted_the_next_time(
    at_noon: TestClient, route: Route, engine: Engine
) -> None:
    headers = route.token("collector")

    def full(connection: Connection, cursor: object, statement: str, *_: object) -> None:  # noqa: ARG001
        if statement.startswith("UPDATE token"):
            raise OperationalError(statement, {}, Exception("database or disk is full"))

    listen(engine, "before_cursor_execute", full)
    assert at_noon.get("/v1/venues", headers=headers).status_code == 200
    assert at_noon.get("/v1/venues", headers=headers).status_code == 200
    unlisten(engine, "before_cursor_execute", full)
    assert [item["first_used_at"] for item in at_noon.get("/v1/tokens").json()["items"]] == [None]
    assert at_noon.get("/v1/venues", headers=headers).status_code == 200
    assert [item["first_used_at"] for item in at_noon.get("/v1/tokens").json()["items"]] == ["2026-11-25T17:00:00Z"]
