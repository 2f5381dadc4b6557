"""Recording collections through the service, on both databases: once, as previewed, exact to the cent."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, text

from tests.cash.conftest import Till


def test_the_worked_example_is_exact_to_the_cent(till: Till) -> None:
    # 10,420 to 10,731 are 311 quarters, 77.75; 4.00 refunded leave 73.75. Games started without money do not move a
    # money meter. Half of 78.00 each.
    till.agree()
    till.collect("2026-11-01", 100, cash=10420)
    told = till.collect("2026-11-08", 78, cash=10731, refunds_from_box="4.00", test_games=6)
    assert told["status"] == "settled"
    assert (told["counted"], told["expected"]) == ("78.00", {"least": "73.75", "most": "73.75"})
    assert (told["difference"], told["difference_percent"]) == ("4.25", "5.76")
    settlement = told["settlement"]
    assert [(line["code"], line["amount"]) for line in settlement["lines"]] == [
        ("gross", "78.00"),
        ("operator_share", "39.00"),
        ("to_venue_now", "39.00"),
    ]
    assert (settlement["venue_share"], settlement["operator_share"], settlement["to_bag"]) == (
        "39.00",
        "39.00",
        "39.00",
    )
    assert till.balances() == {"cash_in_bags": "89.00", "play_takings": "-178.00", "venue_share": "89.00"}


def test_a_preview_says_what_the_collection_then_says_and_stores_nothing(till: Till) -> None:
    till.agree(first_money=[{"name": "Licence", "amount": "60.00", "per": "year", "starts_on": "2026-01-01"}])
    till.collect("2026-11-01", 40, cash=100)
    body = till.body("2026-11-08", 50, cash=300, refunds_by_venue="2.00", house_money="5.00", weighed_g={"1.00": "405"})
    previewed = till.client.post("/v1/collections/preview", json=body)
    assert previewed.status_code == 200
    assert till.client.get(f"/v1/collections/{body['id']}").status_code == 404
    recorded = till.client.post("/v1/collections", json=body)
    assert recorded.status_code == 201
    preview, record = previewed.json(), recorded.json()
    assert preview["entry_id"] is None
    assert record["entry_id"] is not None
    assert {**preview, "entry_id": None} == {**record, "entry_id": None}
    assert till.client.get(f"/v1/collections/{body['id']}").json() == record


def test_a_collection_sent_again_is_answered_as_before(till: Till) -> None:
    till.agree()
    body = till.body("2026-11-08", 50, cash=300)
    first = till.client.post("/v1/collections", json=body)
    same = {
        **body,
        "collected_at": "2026-11-08T11:00:00-05:00",
        "tables": [{**body["tables"][0], "test_games": 0, "house_money": "0", "counted": {"1": 50}}],
    }
    again = till.client.post("/v1/collections", json=same)
    assert (again.status_code, again.json()) == (first.status_code, first.json())
    assert till.client.post("/v1/collections/preview", json=body).json() == first.json()
    assert len(till.client.get("/v1/ledger/entries").json()["items"]) == 1


def test_the_same_id_with_other_content_names_what_differs(till: Till) -> None:
    till.agree()
    body = till.body("2026-11-08", 50, cash=300)
    till.route.post("/collections", body)
    other = {**body, "bag": "17", "tables": [{**body["tables"][0], "counted": {"1.00": 51}}]}
    response = till.client.post("/v1/collections", json=other)
    assert response.status_code == 409
    assert response.json()["type"] == "/problems/same_id_other_content"
    assert response.json()["errors"] == [
        {"where": "bag", "found": "17", "expected": ""},
        {"where": "tables[0].counted.1.00", "found": "51", "expected": "50"},
    ]
    assert till.refused(other, "/collections/preview")[:2] == (409, "same_id_other_content")


def test_one_collection_sent_twenty_times_at_once_is_stored_once_and_answered_the_same(
    till: Till, engine: Engine
) -> None:
    till.agree()
    body = till.body("2026-11-08", 50, cash=300)

    def send(_: int) -> Any:
        """Send until it is taken: a service that is asked too much says to come back."""
        answer = till.client.post("/v1/collections", json=body)
        return answer if answer.status_code != 503 else send(_)

    with ThreadPoolExecutor(20) as threads:
        answers = list(threads.map(send, range(20)))
    assert {answer.status_code for answer in answers} == {201}, {answer.text for answer in answers}
    assert len({answer.text for answer in answers}) == 1
    with engine.connect() as connection:
        for table in ("collection", "collected_table", "settlement", "ledger_entry"):
            assert connection.execute(text(f"SELECT count(*) FROM {table}")).scalar() == 1, table


def test_nothing_is_half_posted_when_the_books_refuse(till: Till, engine: Engine) -> None:
    till.agree()
    with engine.begin() as connection:
        connection.execute(text("ALTER TABLE ledger_entry RENAME TO ledger_entry_away"))
    body = till.body("2026-11-08", 50, cash=300)
    assert till.client.post("/v1/collections", json=body).status_code == 500
    with engine.connect() as connection:
        for table in ("collection", "collected_table", "settlement", "ledger_posting"):
            assert connection.execute(text(f"SELECT count(*) FROM {table}")).scalar() == 0, table


def test_two_tables_are_told_apart_and_added_up(till: Till) -> None:
    till.agree()
    other = till.route.table(till.venue, label="Wall side", meters=[])["id"]
    till.collect("2026-11-01", 10, cash=0)
    body = till.body("2026-11-08", 20, cash=100)
    body["tables"].append(
        {"table_id": other, "counted": {"0.25": 4, "5.00": 1}, "other": [{"what": "token", "count": 2}]}
    )
    told = till.route.post("/collections", body)
    assert [(t["label"], t["counted"], t["difference"]) for t in told["tables"]] == [
        ("Window side", "20.00", "-5.00"),
        ("Wall side", "6.00", None),
    ]
    assert told["tables"][1]["cautions"] == ["no_meter_read"]
    assert told["tables"][1]["other"] == [{"what": "token", "count": 2}]
    assert (told["counted"], told["expected"], told["difference"]) == (
        "26.00",
        {"least": "25.00", "most": "25.00"},
        "-5.00",
    )


def test_collections_are_listed_in_the_order_of_recording_by_venue_and_table(till: Till) -> None:
    ids = [till.collect(on, 1)["id"] for on in ("2026-11-08", "2026-11-01", "2026-11-15")]
    first = till.client.get("/v1/collections?limit=2")
    assert [item["id"] for item in first.json()["items"]] == ids[:2]
    assert first.headers["link"].endswith('rel="next"')
    rest = till.client.get(f"/v1/collections?limit=2&after={first.json()['next']}").json()
    assert [item["id"] for item in rest["items"]] == ids[2:]
    assert rest["next"] is None
    elsewhere = till.route.venue(name="Elsewhere")["id"]
    assert till.client.get(f"/v1/collections?venue_id={elsewhere}").json()["items"] == []
    assert len(till.client.get(f"/v1/collections?venue_id={till.venue}").json()["items"]) == 3
    assert len(till.client.get(f"/v1/collections?table_id={till.table}").json()["items"]) == 3


@pytest.mark.parametrize(
    ("role", "record", "read", "agree"),
    [("collector", 201, 200, 403), ("accountant", 403, 200, 403), ("venue", 403, 200, 403), ("device", 403, 403, 403)],
)
def test_roles_have_what_they_need(till: Till, role: str, record: int, read: int, agree: int) -> None:
    bound: dict[str, Any] = {"venue": {"venue_id": till.venue}, "device": {"table_id": till.table}}.get(role, {})
    headers = till.route.token(role, **bound)
    client: TestClient = till.client
    body = till.body("2026-11-08", 50, collector=f"a {role}")
    answer = client.post("/v1/collections", json=body, headers=headers)
    assert answer.status_code == record
    assert client.get("/v1/collections", headers=headers).status_code == read
    seen = body["id"] if role == "collector" else till.collect("2026-11-09", 1)["id"]
    assert client.get(f"/v1/collections/{seen}", headers=headers).status_code == read
    path = f"/v1/venues/{till.venue}/agreements"
    assert client.post(path, json={}, headers=headers).status_code == agree
    assert client.get(path, headers=headers).status_code == (200 if role == "accountant" else 403)


def test_a_heavy_bag_brings_advice_to_halve_it(till: Till) -> None:
    told = till.collect("2026-11-08", 0, counted={"0.25": 4000})
    assert [(item["code"], item["table_id"]) for item in told["advice"]] == [("heavy_bag", None)]
    assert told["advice"][0]["detail"].startswith("22.68 kg")


def test_a_wrong_weight_is_told_and_stored(till: Till) -> None:
    told = till.collect("2026-11-08", 0, counted={"0.25": 142}, weighed_g={"0.25": "850.5", "5.00": "3"})
    assert told["tables"][0]["weights"] == [
        {
            "denomination": "0.25",
            "count": 142,
            "weighed_g": "850.5",
            "expected_g": "805.140",
            "off_g": "45.360",
            "count_by_weight": 150,
            "agrees": False,
        },
        {
            "denomination": "5.00",
            "count": 0,
            "weighed_g": "3",
            "expected_g": "0",
            "off_g": "3",
            "count_by_weight": 3,
            "agrees": False,
        },
    ]
    assert told["cautions"] == ["no_meter_read", "weight_differs", "no_agreement"]
