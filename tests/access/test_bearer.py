"""The header that carries a token: what is refused, how, and what of it is never repeated."""

from base64 import b64encode
from datetime import timedelta

from fastapi.testclient import TestClient

from tests.conftest import NOON, WEEKDAY, Route

BASIC = 'Basic realm="baizebook", charset="UTF-8"'


def basic(user: str, password: str) -> dict[str, str]:
    return {"Authorization": "Basic " + b64encode(f"{user}:{password}".encode()).decode()}


def test_a_token_is_the_password_of_basic_with_any_user(client: TestClient, route: Route) -> None:
    token = route.token("reader")["Authorization"].removeprefix("Bearer ")
    for user in ("", "sheet", "Odile"):
        me = client.get("/v1/me", headers=basic(user, token))
        assert (me.status_code, me.json()["role"]) == (200, "reader"), user
    assert client.get("/v1/me", auth=("sheet", token)).status_code == 200
    refused = [
        basic(token, ""),
        basic("sheet", "bz_nobodys"),
        {"Authorization": "Basic !"},
        {"Authorization": "Basic eA=="},
    ]
    answers = [client.get("/v1/me", headers=headers) for headers in refused]
    assert [answer.json()["code"] for answer in answers] == ["no_token", "wrong_token", "no_token", "no_token"]
    assert {answer.headers["WWW-Authenticate"].startswith(BASIC) for answer in answers} == {True}


def test_a_page_of_another_site_changes_nothing_by_a_password_that_a_browser_keeps(client: TestClient) -> None:
    token = client.headers["Authorization"].removeprefix("Bearer ")
    del client.headers["Authorization"]
    body = {"name": "The Copper Lantern", "time_zone": "America/New_York", "currency": "USD"}

    def make(site: str, headers: dict[str, str]) -> int:
        return client.post("/v1/venues", json=body, headers={**headers, "Sec-Fetch-Site": site}).status_code

    by_basic, by_bearer = basic("Ana", token), {"Authorization": f"Bearer {token}"}
    assert [make(site, by_basic) for site in ("cross-site", "same-site", "same-origin", "none")] == [403, 403, 201, 201]
    assert make("cross-site", by_bearer) == 201
    assert client.get("/v1/venues", headers={**by_basic, "Sec-Fetch-Site": "cross-site"}).status_code == 200


def test_everybody_sees_who_they_are_and_what_they_may_do(client: TestClient, route: Route) -> None:
    venue = route.venue()
    table = route.table(venue["id"])
    bound = {"venue": {"venue_id": venue["id"]}, "device": {"table_id": table["id"]}}
    may = {}
    for role in ("collector", "accountant", "venue", "device", "reader"):
        me = client.get("/v1/me", headers=route.token(role, **bound.get(role, {}))).json()
        assert (me["name"], me["person"], me["role"]) == (f"a {role}", f"a {role}", role)
        assert (me["venue_id"], me["table_id"]) == (
            venue["id"] if role == "venue" else None, table["id"] if role == "device" else None
        )  # fmt: skip
        may[role] = set(me["operations"])
    owner = client.get("/v1/me").json()
    contract = client.get("/openapi.json").json()
    named = {
        operation["operationId"]
        for path in contract["paths"].values()
        for operation in path.values()
        if "operationId" in operation
    }
    assert set(owner["operations"]) == named
    always = {"get_alive", "get_ready", "explain_problem", "get_me"}
    assert may["device"] == always | {"record_readings", "list_readings", "get_reading"}
    assert {"get_quote", "get_week", "get_worklist"} < may["reader"]
    assert not may["reader"] & {
        "list_collections",
        "get_statement",
        "get_earnings",
        "list_ledger_entries",
        "record_readings",
    }
    assert {"list_ledger_entries", "get_statement"} < may["accountant"]


def test_a_reader_sees_work_and_no_money(client: TestClient, route: Route) -> None:
    venue = route.venue()
    table = route.table(venue["id"], cash_box={"coins_max": 10, "value_max": "10.00"})
    collection = {
        "id": "0198c0de-0000-4000-8000-000000000001", "venue_id": venue["id"], "collected_at": NOON.isoformat(),
        "collector": "Ana", "tables": [{"table_id": table["id"], "counted": {"1.00": 4}}],
    }  # fmt: skip
    route.post("/collections", collection)
    route.post(f"/collections/{collection['id']}/disputes", {"by": "Odile", "claims": "more", "reason": "Miscounted."})
    reader = route.token("reader")
    seen = [
        {work["code"] for work in client.get("/v1/worklist", headers=headers).json()["items"]}
        for headers in ({}, reader)
    ]
    assert "dispute" in seen[0]
    assert "dispute" not in seen[1]
    assert client.get("/v1/collections", headers=reader).status_code == 403


def test_two_authorization_headers_are_none(client: TestClient, route: Route) -> None:
    token = route.token("collector")["Authorization"].encode()
    del client.headers["Authorization"]
    answer = client.get("/v1/venues", headers=[(b"Authorization", token), (b"Authorization", token)])
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == BASIC + ', Bearer realm="baizebook", error="invalid_request"'


def test_a_role_without_the_operation_is_told_that_its_scope_is_too_small(client: TestClient, route: Route) -> None:
    answer = client.post("/v1/venues", json={}, headers=route.token("collector"))
    assert answer.status_code == 403
    assert answer.headers["WWW-Authenticate"] == 'Bearer realm="baizebook", error="insufficient_scope"'


def test_a_revoked_and_an_expired_token_read_like_an_unknown_one(at_noon: TestClient, route: Route) -> None:
    revoked = route.post("/tokens", {"name": "Bram", "role": "collector"})
    expired = route.post("/tokens", {"name": "Ines", "role": "collector", "expires_at": "2026-11-25T17:00:01Z"})
    assert at_noon.delete(f"/v1/tokens/{revoked['id']}").status_code == 204
    at_noon.app.state.clock = lambda: NOON + timedelta(seconds=1)  # type: ignore[attr-defined]
    answers = [
        at_noon.get("/v1/venues", headers={"Authorization": f"Bearer {token}"})
        for token in (revoked["token"], expired["token"], "bz_nobodys")
    ]
    assert {(answer.status_code, answer.content) for answer in answers} == {(401, answers[0].content)}
    assert answers[0].json()["title"] == "Invalid token"
    assert {answer.headers["WWW-Authenticate"] for answer in answers} == {
        BASIC + ', Bearer realm="baizebook", error="invalid_token"'
    }


def test_a_token_put_where_none_belongs_is_not_repeated(client: TestClient, route: Route) -> None:
    token = route.token("owner")["Authorization"].removeprefix("Bearer ")
    refusals = [
        client.get(f"/v1/venues/{token}"),
        client.get(f"/v1/{token}"),
        client.get(f"/v1/venues?{token}=1"),
        client.get(f"/v1/venues?after={token}"),
        client.post("/v1/venues", json={"name": "x", "time_zone": token, "currency": token, token: 1}),
        client.post("/v1/venues", json={"name": ["x"], "time_zone": {token: token}, "currency": "USD"}),
        client.get(f"/problems/{token.lower()}"),
    ]
    assert {400 <= refusal.status_code < 500 for refusal in refusals} == {True}
    one_by_one = [
        client.post("/v1/readings", json={"readings": [{"id": token, token: 1}]}),
        client.post("/v1/quotes", json={"scenarios": [{"tariff": WEEKDAY, "time_zone": token, "money": "1.00"}]}),
    ]
    assert {answer.status_code for answer in one_by_one} == {200}
    for refusal in refusals + one_by_one:
        assert token[5:25] not in refusal.text, refusal.text
    answer = client.get("/v1/me", headers={"X-Request-Id": token})
    assert token not in answer.headers["X-Request-Id"], "an id of our own in its place"
