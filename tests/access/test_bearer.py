"""The header that carries a token: what is refused, how, and what of it is never repeated."""

from datetime import timedelta

from fastapi.testclient import TestClient

from tests.conftest import NOON, WEEKDAY, Route


def test_two_authorization_headers_are_none(client: TestClient, route: Route) -> None:
    token = route.token("collector")["Authorization"].encode()
    del client.headers["Authorization"]
    answer = client.get("/v1/venues", headers=[(b"Authorization", token), (b"Authorization", token)])
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == 'Bearer realm="baizebook", error="invalid_request"'


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
        'Bearer realm="baizebook", error="invalid_token"'
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
