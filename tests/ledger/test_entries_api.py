"""What an owner posts, by kind, asked through the service on both databases (L1, L2)."""

from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route


def post(client: TestClient, kind: str, amount: str, *, query: str = "", **more: Any) -> Any:
    """Post an entry for 2 November, or what is said otherwise; return the response."""
    return client.post(f"/v1/ledger/entries{query}", json={"kind": kind, "amount": amount, "on": "2026-11-02", **more})


def postings(answer: Any) -> list[tuple[str, str | None, str]]:
    assert answer.status_code in (200, 201), answer.text
    return [(line["account"], line["venue_id"], line["amount"]) for line in answer.json()["postings"]]


def sums(client: TestClient) -> dict[tuple[str, str | None], str]:
    listed = client.get("/v1/ledger/accounts").json()["items"]
    return {(item["account"], item["venue_id"]): item["balance"] for item in listed}


def test_each_kind_posts_from_one_account_to_another(client: TestClient, route: Route) -> None:
    corner = route.venue()["id"]
    assert postings(post(client, "opening", "500.00", account="cash_in_bags")) == [
        ("cash_in_bags", None, "500.00"),
        ("opening_equity", None, "-500.00"),
    ]
    assert postings(post(client, "opening", "80.00", account="tax_payable")) == [
        ("opening_equity", None, "80.00"),
        ("tax_payable", None, "-80.00"),
    ]
    assert postings(post(client, "opening", "1000.00")) == [
        ("bank", None, "1000.00"),
        ("opening_equity", None, "-1000.00"),
    ]
    assert postings(post(client, "opening", "75.00", venue_id=corner)) == [
        ("opening_equity", None, "75.00"),
        ("owed_to_venues", corner, "-75.00"),
    ]
    assert postings(post(client, "opening", "300.00", venue_id=corner, account="venue_loans")) == [
        ("venue_loans", corner, "300.00"),
        ("opening_equity", None, "-300.00"),
    ]
    assert postings(post(client, "deposit", "400.00")) == [("bank", None, "400.00"), ("cash_in_bags", None, "-400.00")]
    assert postings(post(client, "venue_payment", "50.00", venue_id=corner)) == [
        ("owed_to_venues", corner, "50.00"),
        ("bank", None, "-50.00"),
    ]
    assert postings(post(client, "tax_payment", "60.00")) == [("tax_payable", None, "60.00"), ("bank", None, "-60.00")]
    assert postings(post(client, "licence_payment", "25.00", venue_id=corner)) == [
        ("licences_paid", corner, "25.00"),
        ("bank", None, "-25.00"),
    ]
    assert postings(post(client, "licence_payment", "10.00")) == [
        ("licences_paid", None, "10.00"),
        ("bank", None, "-10.00"),
    ]
    assert postings(post(client, "loan_advance", "200.00", venue_id=corner)) == [
        ("venue_loans", corner, "200.00"),
        ("bank", None, "-200.00"),
    ]
    assert postings(post(client, "write_off", "120.00", venue_id=corner)) == [
        ("write_offs", corner, "120.00"),
        ("venue_loans", corner, "-120.00"),
    ]
    assert postings(post(client, "write_off", "5.00")) == [
        ("write_offs", None, "5.00"),
        ("cash_in_bags", None, "-5.00"),
    ]
    assert sums(client) == {
        ("cash_in_bags", None): "95.00",
        ("bank", None): "1055.00",
        ("venue_loans", corner): "380.00",
        ("owed_to_venues", corner): "-25.00",
        ("tax_payable", None): "-20.00",
        ("opening_equity", None): "-1645.00",
        ("licences_paid", None): "10.00",
        ("licences_paid", corner): "25.00",
        ("write_offs", None): "5.00",
        ("write_offs", corner): "120.00",
    }


def test_a_posted_entry_can_be_read_again_and_seals_the_one_before(client: TestClient, route: Route) -> None:
    route.venue()
    first = post(client, "opening", "500.00", reference="Cash drawer").json()
    second = post(client, "opening", "20.00")
    assert second.status_code == 201
    location = second.headers["Location"]
    assert location == f"/v1/ledger/entries/{second.json()['id']}"
    again = client.get(location).json()
    assert second.json() == {**again, "cautions": []}
    assert (first["number"], again["number"]) == (1, 2)
    assert first["previous_hash"] == "0" * 64
    assert again["previous_hash"] == first["hash"]
    assert (first["reference"], again["reference"], again["source_id"]) == ("Cash drawer", "", None)


def test_a_preview_shows_the_entry_and_stores_nothing(client: TestClient, route: Route) -> None:
    route.venue()
    preview = post(client, "opening", "500.00", query="?preview=true")
    assert preview.status_code == 200
    assert "Location" not in preview.headers
    assert preview.json()["number"] == 1
    assert client.get("/v1/ledger/entries").json() == {"items": [], "next": None, "cursor": "0"}
    assert post(client, "opening", "500.00").json()["number"] == 1


def test_the_same_key_posts_once(client: TestClient, route: Route) -> None:
    route.venue()
    body = {"kind": "opening", "amount": "500.00", "on": "2026-11-02"}
    answers = [
        client.post("/v1/ledger/entries", json=body, headers={"Idempotency-Key": "slip-7"}).json() for _ in range(3)
    ]
    assert answers[0] == answers[1] == answers[2]
    assert client.get("/v1/ledger/verify").json()["entries"] == 1


def test_what_happened_is_recorded_even_where_the_books_know_of_less(client: TestClient, route: Route) -> None:
    corner = route.venue()["id"]
    deposit = post(client, "deposit", "40.00")
    assert deposit.status_code == 201
    assert deposit.json()["cautions"] == ["cash_in_bags has 0.00, less than 40.00."]
    paid = post(client, "venue_payment", "10.00", venue_id=corner)
    assert paid.json()["cautions"] == ["owed_to_venues has 0.00, less than 10.00."]
    taxed = post(client, "tax_payment", "3.00")
    assert taxed.json()["cautions"] == ["tax_payable has 0.00, less than 3.00."]
    assert post(client, "loan_advance", "10.00", venue_id=corner).json()["cautions"] == []


@pytest.mark.parametrize("of_venue", [True, False])
def test_no_more_is_written_off_than_there_is(client: TestClient, route: Route, of_venue: bool) -> None:
    corner = route.venue()["id"]
    where = {"venue_id": corner, "account": "venue_loans"} if of_venue else {"account": "cash_in_bags"}
    assert post(client, "opening", "30.00", **where).status_code == 201
    refused = post(client, "write_off", "30.01", **where)
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/above_balance")
    assert refused.json()["detail"] == f"{where['account']} has 30.00, less than 30.01."
    assert post(client, "write_off", "30.00", **where).status_code == 201
    assert client.get("/v1/ledger/verify").json()["entries"] == 2


def test_an_entry_is_in_the_currency_of_its_venue(client: TestClient, route: Route) -> None:
    osaka = route.venue(name="Tanuki Hall", time_zone="Asia/Tokyo", currency="JPY")["id"]
    corner = route.venue()["id"]
    assert post(client, "loan_advance", "1500", venue_id=osaka).json()["currency"] == "JPY"
    assert post(client, "loan_advance", "15.00", venue_id=corner).json()["currency"] == "USD"
    differs = post(client, "loan_advance", "15.00", venue_id=osaka, currency="USD")
    assert (differs.status_code, differs.json()["type"]) == (409, "/problems/currency_differs")
    unsaid = post(client, "opening", "15")
    assert unsaid.status_code == 422
    assert unsaid.json()["errors"] == [{"where": "currency", "found": "nothing", "expected": "one of JPY, USD"}]
    assert post(client, "opening", "15", currency="JPY").json()["currency"] == "JPY"
    assert sums(client)["venue_loans", osaka] == "1500"


def test_the_first_currency_is_named_where_there_is_no_venue_yet(client: TestClient) -> None:
    assert post(client, "opening", "1.250").status_code == 422
    assert post(client, "opening", "1.250", currency="KWD").json()["postings"][0]["amount"] == "1.250"


BAD_ENTRIES: list[tuple[dict[str, Any], int, str]] = [
    ({"amount": "0.00"}, 422, "amount_not_positive"),
    ({"amount": "1.005"}, 422, "bad_money"),
    ({"amount": "-1.00"}, 422, "invalid"),
    ({"amount": 1}, 422, "invalid"),
    ({"amount": "1e3"}, 422, "invalid"),
    ({"kind": "collection"}, 422, "invalid"),
    ({"kind": "reversal"}, 422, "invalid"),
    ({"kind": "loan_advance"}, 422, "venue_needed"),
    ({"kind": "venue_payment"}, 422, "venue_needed"),
    ({"venue_id": str(uuid4())}, 404, "not_found"),
    ({"venue_id": "the corner"}, 422, "invalid"),
    ({"venue_id": None}, 422, "invalid"),
    ({"account": "venue_loans"}, 422, "account_not_of_kind"),
    ({"account": "play_takings"}, 422, "invalid"),
    ({"currency": "XXQ"}, 422, "unknown_currency"),
    ({"on": "1999-11-02"}, 422, "invalid"),
    ({"on": "2026-02-30"}, 422, "invalid"),
    ({"on": "2026-11-02T12:00:00Z"}, 422, "invalid"),
    ({"reference": "x" * 501}, 422, "invalid"),
    ({"reference": "bell \u0007"}, 422, "invalid"),
    ({"number": 7}, 422, "invalid"),
]


def test_what_is_booked_ahead_is_recorded_with_a_caution(at_noon: TestClient, route: Route) -> None:
    corner = route.venue()["id"]
    for on, cautions in (("2026-11-26", []), ("2062-11-02", ["2062-11-02 has not come yet."])):
        entry = post(at_noon, "loan_advance", "10.00", venue_id=corner, on=on)
        assert (entry.status_code, entry.json()["cautions"]) == (201, cautions)


def test_a_bad_entry_is_refused_and_nothing_is_posted(client: TestClient, route: Route) -> None:
    route.venue()
    deposit = {"kind": "deposit", "amount": "40.00", "on": "2026-11-02"}
    for change, status, code in BAD_ENTRIES:
        answer = client.post("/v1/ledger/entries", json={**deposit, **change})
        assert (answer.status_code, answer.json()["type"]) == (status, f"/problems/{code}"), change
    assert client.get("/v1/ledger/entries").json()["items"] == []


def test_a_venue_is_refused_where_a_kind_has_none(client: TestClient, route: Route) -> None:
    corner = route.venue()["id"]
    for kind in ("deposit", "tax_payment"):
        answer = post(client, kind, "40.00", venue_id=corner)
        assert (answer.status_code, answer.json()["type"]) == (422, "/problems/venue_not_wanted")


def test_a_mistaken_entry_is_taken_back_once_by_its_mirror_image(client: TestClient, route: Route) -> None:
    corner = route.venue()["id"]
    wrong = post(client, "loan_advance", "3000.00", venue_id=corner).json()
    body = {"reason": "a zero too many", "on": "2026-11-03"}
    path = f"/v1/ledger/entries/{wrong['id']}/reversal"
    preview = client.post(f"{path}?preview=true", json=body)
    assert preview.status_code == 200
    back = client.post(path, json=body)
    assert postings(back) == [("venue_loans", corner, "-3000.00"), ("bank", None, "3000.00")]
    assert (back.json()["kind"], back.json()["source_id"], back.json()["reference"]) == (
        "reversal",
        wrong["id"],
        "a zero too many",
    )
    assert set(sums(client).values()) == {"0.00"}
    again = client.post(path, json=body)
    assert (again.status_code, again.json()["type"]) == (409, "/problems/already_reversed")
    assert again.json()["title"] == "Already reversed"
    of_it = client.post(f"/v1/ledger/entries/{back.json()['id']}/reversal", json=body)
    assert (of_it.status_code, of_it.json()["type"]) == (409, "/problems/reversal_of_reversal")
    assert client.post(f"/v1/ledger/entries/{uuid4()}/reversal", json=body).status_code == 404
    assert client.post(path, json={"reason": "", "on": "2026-11-03"}).status_code == 422


def test_a_loan_that_was_repaid_in_part_is_not_taken_back(client: TestClient, route: Route) -> None:
    corner = route.venue()["id"]
    loan = post(client, "loan_advance", "100.00", venue_id=corner).json()
    less = post(client, "write_off", "75.00", venue_id=corner).json()
    body = {"reason": "typed twice", "on": "2026-11-03"}
    refused = client.post(f"/v1/ledger/entries/{loan['id']}/reversal", json=body)
    assert (refused.status_code, refused.json()["code"]) == (409, "above_balance")
    (error,) = refused.json()["errors"]
    assert (error["where"], error["found"]) == ("entry_id", "100.00")
    assert error["expected"].startswith("at most the 25.00 that the venue still owes")
    assert client.post(f"/v1/ledger/entries/{less['id']}/reversal", json=body).status_code == 201
    assert client.post(f"/v1/ledger/entries/{loan['id']}/reversal", json=body).status_code == 201
    assert set(sums(client).values()) == {"0.00"}


def test_only_an_owner_posts_and_an_accountant_reads(client: TestClient, route: Route) -> None:
    corner = route.venue()["id"]
    entry = post(client, "opening", "40.00").json()
    accountant, collector = route.token("accountant"), route.token("collector")
    venue = route.token("venue", venue_id=corner)
    reads = ["entries", f"entries/{entry['id']}", "accounts", "verify", "export", "account-names"]
    for path in [f"/v1/ledger/{name}" for name in reads] + [
        "/v1/reports/year?year=2026",
        "/v1/reports/year?year=2026&format=csv",
    ]:
        assert client.get(path, headers=accountant).status_code == 200, path
        assert client.get(path, headers=collector).status_code == 403, path
        assert client.get(path, headers=venue).status_code == 403, path
        assert client.get(path, headers={"Authorization": "Bearer wrong"}).status_code == 401, path
    body = {"kind": "opening", "amount": "1.00", "on": "2026-11-02"}
    reversal = {"reason": "typing", "on": "2026-11-02"}
    for headers in (accountant, collector, venue):
        assert client.post("/v1/ledger/entries", json=body, headers=headers).status_code == 403
        taken = client.post(f"/v1/ledger/entries/{entry['id']}/reversal", json=reversal, headers=headers)
        assert taken.status_code == 403
        assert client.put("/v1/ledger/account-names", json={"names": {}}, headers=headers).status_code == 403


def test_balances_are_listed_in_pages_by_venue_and_as_they_stood(client: TestClient, route: Route) -> None:
    corner, harbour = route.venue()["id"], route.venue(name="The Harbour")["id"]
    post(client, "loan_advance", "100.00", venue_id=corner, on="2026-10-01")
    post(client, "loan_advance", "50.00", venue_id=harbour, on="2026-10-31")
    post(client, "loan_advance", "7.00", venue_id=corner, on="2026-11-01")
    pages, after = [], ""
    while True:
        page = client.get(f"/v1/ledger/accounts?limit=1{after}").json()
        pages += page["items"]
        if page["next"] is None:
            break
        after = f"&after={page['next']}"
    assert [(item["account"], item["venue_id"], item["balance"]) for item in pages] == [
        ("bank", None, "-157.00"),
        *sorted([("venue_loans", corner, "107.00"), ("venue_loans", harbour, "50.00")]),
    ]
    assert pages[0]["kind"] == "asset"
    assert [item["balance"] for item in client.get(f"/v1/ledger/accounts?venue_id={corner}").json()["items"]] == [
        "107.00"
    ]
    stood = client.get("/v1/ledger/accounts?on=2026-10-31").json()["items"]
    assert stood[0]["balance"] == "-150.00"
    for bad in ("nonsense", "bank", "no_such_account:USD", f"bank:{corner}:USD"):
        assert client.get(f"/v1/ledger/accounts?after={bad}").status_code == 422
