"""Sheet links: what a cell reads by an address alone, and what it never does."""

import hashlib

from fastapi.testclient import TestClient
from sqlalchemy import Engine, inspect, text

from tests.conftest import Route

QUESTION = "money=10.00&at=2026-12-01T21:00&format=text&column=units&kind=games"


def made(client: TestClient, **more: object) -> tuple[str, str]:
    """Make a link; return its id and the path of its address."""
    answer = client.post("/v1/sheet-links", json={"name": "Office", **more})
    assert answer.status_code == 201, answer.text
    assert answer.json()["url"].startswith("http://testserver/s/bz_")
    return answer.json()["id"], answer.json()["url"].removeprefix("http://testserver")


def place(route: Route, name: str) -> str:
    venue = route.venue(name=name)["id"]
    route.schedule(venue, route.tariff()["id"])
    route.table(venue)
    return str(venue)


def test_a_cell_reads_quotes_and_the_price_grid_without_a_header(client: TestClient, route: Route) -> None:
    venue = place(route, "The Copper Lantern")
    _, path = made(client)
    del client.headers["Authorization"]
    answer = client.get(f"{path}/quotes?venue_id={venue}&{QUESTION}")
    assert (answer.status_code, answer.text) == (200, "15")
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert client.get(path).text.startswith("venue_id,venue,on,window,")
    assert client.get(f"{path}?amounts=5.00&decimal=comma&separator=semicolon").text.startswith("venue_id;venue;")
    grid = client.get(f"{path}/price-grid?amounts=10.00").json()["items"]
    assert [(line["venue"], line["games"]) for line in grid] == [("The Copper Lantern", 15)]
    wrong = client.get(f"{path}/quotes?venue_id={venue}&money=10.001&format=text&column=units")
    assert (wrong.status_code, wrong.text.count("\n")) == (422, 0)
    assert "at most 2 decimals" in wrong.text
    assert client.head(f"{path}/quotes?venue_id={venue}&{QUESTION}").status_code == 200


def test_a_link_opens_nothing_else(client: TestClient, route: Route) -> None:
    venue = place(route, "The Copper Lantern")
    _, path = made(client)
    secret = path.removeprefix("/s/")
    del client.headers["Authorization"]
    for other in (
        "/worklist",
        "/tables",
        "/earnings?from=2026-01-01&to=2026-12-31",
        "/venues",
        "/ledger/export",
        "/me",
        "/..",
    ):
        assert client.get(path + other).status_code == 404, other
    assert client.post(f"{path}/quotes", json={"scenarios": [{"venue_id": venue, "money": "1.00"}]}).status_code == 404
    for headers in ({"Authorization": f"Bearer {secret}"}, {}):
        assert client.get("/v1/venues", headers=headers).status_code == 401
    assert client.get(f"/s/bz_{'x' * 43}/quotes?venue_id={venue}&{QUESTION}").status_code == 404


def test_chosen_reports_and_no_others(client: TestClient, route: Route) -> None:
    place(route, "The Copper Lantern")
    _, path = made(client, reports=["earnings", "worklist"])
    del client.headers["Authorization"]
    assert client.get(f"{path}/worklist").status_code == 200
    assert client.get(f"{path}/earnings?from=2026-01-01&to=2026-12-31&format=csv").text.startswith("venue_id,venue,")
    assert client.get(f"{path}/tables").status_code == 404


def test_the_next_page_is_reached_by_the_link_itself(client: TestClient, route: Route) -> None:
    for name in ("The Copper Lantern", "The Tin Heron"):
        place(route, name)
    _, path = made(client, reports=["tables"])
    del client.headers["Authorization"]
    first = client.get(f"{path}/tables?limit=1")
    next_ = first.links["next"]["url"]
    assert next_.startswith(f"{path}/tables?")
    second = client.get(next_)
    assert second.status_code == 200, second.text
    ids = [table["id"] for page in (first, second) for table in page.json()["items"]]
    assert len(set(ids)) == 2
    assert second.links == {}


def test_a_link_of_some_venues_sees_these_alone(client: TestClient, route: Route) -> None:
    own, other = place(route, "Own"), place(route, "Other")
    table = client.get(f"/v1/venues/{other}/tables").json()["items"][0]["id"]
    _, path = made(client, venue_ids=[own], reports=["worklist", "earnings", "tables"])
    del client.headers["Authorization"]
    assert client.get(f"{path}/quotes?venue_id={own}&{QUESTION}").text == "15"
    absent = "00000000-0000-4000-8000-000000000000"
    for name, one in (("venue_id", other), ("table_id", table)):
        answers = [client.get(f"{path}/quotes?{name}={id_}&money=1.00") for id_ in (one, absent)]
        assert {(x.status_code, x.content) for x in answers} == {(404, answers[0].content)}
    assert {line["venue"] for line in client.get(f"{path}/price-grid?amounts=1.00").json()["items"]} == {"Own"}
    assert client.get(f"{path}/price-grid?amounts=1.00&venue_id={own}&venue_id={other}").status_code == 404
    year = "from=2026-01-01&to=2026-12-31"
    for report in ("worklist?", "tables?", f"earnings?{year}&"):
        statuses = [
            client.get(f"{path}/{report}{more}").status_code for more in ("", f"venue_id={own}", f"venue_id={other}")
        ]
        assert statuses == [422, 200, 404], report


def test_a_revoked_link_is_gone_and_its_secret_was_stored_nowhere(
    client: TestClient, route: Route, engine: Engine
) -> None:
    venue = place(route, "The Copper Lantern")
    body, key = {"name": "Office", "venue_ids": [venue]}, {"Idempotency-Key": "once"}
    link = client.post("/v1/sheet-links", json=body, headers=key).json()
    again = client.post("/v1/sheet-links", json=body, headers=key)
    assert link["url"] not in again.text
    (listed,) = [x for x in client.get("/v1/sheet-links").json()["items"] if x["id"] == link["id"]]
    assert (listed["name"], listed["venue_ids"], listed["reports"], listed["revoked_at"]) == (
        "Office",
        [venue],
        [],
        None,
    )
    path = link["url"].removeprefix("http://testserver")
    secret = path.removeprefix("/s/")
    with engine.connect() as connection:
        stored = "".join(
            str(row) for name in inspect(engine).get_table_names() for row in connection.execute(text(f'SELECT * FROM "{name}"'))
        )  # fmt: skip
    assert secret not in stored
    assert hashlib.sha256(secret.encode()).hexdigest() in stored
    assert client.get(path).status_code == 200
    assert client.delete(f"/v1/sheet-links/{link['id']}").status_code == 204
    assert client.delete(f"/v1/sheet-links/{link['id']}").status_code == 204
    gone = client.get(f"{path}/quotes?venue_id={venue}&{QUESTION}")
    assert (gone.status_code, gone.text) == (404, "Not found: Sheet link not found.")
    assert secret not in gone.text


def test_what_does_not_exist_is_refused_when_a_link_is_made(client: TestClient) -> None:
    absent = ["00000000-0000-4000-8000-000000000000"]
    assert client.post("/v1/sheet-links", json={"name": "x", "venue_ids": absent}).status_code == 404
    assert client.post("/v1/sheet-links", json={"name": "x", "venue_ids": []}).status_code == 422
    assert client.post("/v1/sheet-links", json={"name": "x", "reports": ["ledger"]}).status_code == 422
