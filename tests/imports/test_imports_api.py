"""Files come in as requests would: previewed, all or nothing or line by line, and twice without doubling."""

import gzip
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route, patiently

CSV = {"Content-Type": "text/csv"}
VENUES = """name,time_zone,currency,contact
The Copper Lantern,America/New_York,USD,Odile
The Tin Heron,America/Chicago,USD,
"""
TABLES = """venue;label;accepts;power;chemistry;meters;licence number
The Copper Lantern;Window side;0.25 1 5.00;battery;agm;cash money 0.25 7; plays games 6;L-7
"""
METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
    {"name": "plays", "counts": "games", "digits": 6, "resets": "never"},
]


def send(client: TestClient, of: str, text: str | bytes, **asked: Any) -> dict[str, Any]:
    """Import a CSV and return the answer, which must be a success."""
    body = text.encode() if isinstance(text, str) else text
    answer = client.post("/v1/imports", params={"of": of, **asked}, content=body, headers=CSV)
    assert answer.is_success, answer.text
    assert answer.status_code == (201 if answer.json()["stored"] else 200)
    return answer.json()  # type: ignore[no-any-return]


def refused(client: TestClient, of: str, text: str | bytes, **asked: Any) -> dict[str, Any]:
    """Import a CSV that is refused as a whole, and return the problem."""
    body = text.encode() if isinstance(text, str) else text
    answer = client.post("/v1/imports", params={"of": of, **asked}, content=body, headers=CSV)
    assert 400 <= answer.status_code < 500, answer.text
    return answer.json()  # type: ignore[no-any-return]


def outcomes(answer: dict[str, Any]) -> list[str]:
    return [line["outcome"] for line in answer["lines"]]


def codes(answer: dict[str, Any]) -> list[str | None]:
    return [line["problem"] and line["problem"]["code"] for line in answer["lines"]]


def items(client: TestClient, path: str) -> list[dict[str, Any]]:
    return client.get(f"/v1{path}", params={"limit": 500}).json()["items"]  # type: ignore[no-any-return]


@pytest.fixture
def here(route: Route, at_noon: TestClient) -> TestClient:
    """The service, with a table that has two meters at The Copper Lantern."""
    venue = route.venue()
    route.table(venue["id"], meters=METERS, placed_at="2025-01-01T12:00:00Z")
    return at_noon


def test_a_preview_stores_nothing_and_says_what_the_import_then_does(at_noon: TestClient) -> None:
    preview = send(at_noon, "venues", VENUES, preview=True)
    assert (preview["stored"], preview["new"], outcomes(preview)) == (False, 2, ["new", "new"])
    assert items(at_noon, "/venues") == []
    assert [line["line"] for line in preview["lines"]] == [2, 3]
    assert [column["by"] for column in preview["columns"]] == ["header"] * 4
    stored = send(at_noon, "venues", VENUES)
    assert (stored["stored"], stored["new"]) == (True, 2)
    assert [venue["name"] for venue in items(at_noon, "/venues")] == ["The Copper Lantern", "The Tin Heron"]


def test_the_same_file_twice_changes_nothing_and_a_corrected_line_is_told_from_a_new_one(at_noon: TestClient) -> None:
    send(at_noon, "venues", VENUES)
    before = items(at_noon, "/venues")
    assert outcomes(send(at_noon, "venues", VENUES)) == ["same", "same"]
    assert items(at_noon, "/venues") == before
    corrected = VENUES.replace("Odile", "Odile 555-0142") + "The Quiet Comet,Europe/Berlin,EUR,\n"
    again = send(at_noon, "venues", corrected)
    assert (outcomes(again), again["changed"]) == (["changed", "same", "new"], 1)
    assert [venue["contact"] for venue in items(at_noon, "/venues")] == ["Odile 555-0142", "", ""]


def test_a_line_stored_before_does_not_undo_what_was_changed_since(at_noon: TestClient) -> None:
    send(at_noon, "venues", VENUES)
    venue = items(at_noon, "/venues")[0]
    at_noon.patch(f"/v1/venues/{venue['id']}", json={"contact": "Ana"}, headers={"If-Match": "*"})
    assert outcomes(send(at_noon, "venues", VENUES)) == ["same", "same"]
    assert items(at_noon, "/venues")[0]["contact"] == "Ana"


def test_all_or_nothing_and_line_by_line(at_noon: TestClient) -> None:
    text = VENUES + "The Quiet Comet,Mars/Olympus,EUR,\n"
    whole = send(at_noon, "venues", text)
    assert (whole["stored"], outcomes(whole), codes(whole)[2]) == (
        False,
        ["new", "new", "refused"],
        "unknown_time_zone",
    )
    assert items(at_noon, "/venues") == []
    lines = send(at_noon, "venues", text, mode="lines")
    assert (lines["stored"], lines["new"], lines["refused"]) == (True, 2, 1)
    assert len(items(at_noon, "/venues")) == 2


def test_a_key_column_finds_a_venue_again_whose_name_was_corrected(at_noon: TestClient) -> None:
    text = "No,name,time_zone,currency\n17,The Coper Lantern,America/New_York,USD\n"
    send(at_noon, "venues", text, columns="No:key")
    again = send(at_noon, "venues", text.replace("Coper", "Copper"))
    assert (outcomes(again), again["columns"][0]["by"]) == (["changed"], "remembered")
    assert [venue["name"] for venue in items(at_noon, "/venues")] == ["The Copper Lantern"]


def test_what_was_made_by_other_means_is_found_by_its_name(here: TestClient) -> None:
    text = "name,time_zone,currency,contact\nthe copper  lantern,America/New_York,USD,\n"
    assert outcomes(send(here, "venues", text.replace("the copper  lantern", "The Copper Lantern"))) == ["same"]
    tables = "venue,label,accepts\nThe Copper Lantern,window side,0.25 1 5 20\n"
    assert outcomes(send(here, "tables", tables.replace("window", "Window"))) == ["same"]
    assert outcomes(send(here, "tables", tables.replace("0.25 1 5 20", "0.25 1"))) == ["changed"]
    (table,) = items(here, "/tables")
    profile = here.get(f"/v1/tables/{table['id']}").json()
    assert (profile["accepts"], len(profile["meters"])) == (["0.25", "1.00"], 2)


def test_tables_with_all_that_a_line_can_say(at_noon: TestClient) -> None:
    send(at_noon, "venues", VENUES)
    text = (
        "venue,label,frame_number,accepts,placed_at,power,chemistry,nominal_volts,capacity_ah,meters,coins_max,value_max,"
        "licence_number,licence_expires_on\n"
        "The Tin Heron,Back room,F-9,$1.00 0.25,2025-03-04 18:30,Battery,AGM,12,9.0,cash money 0.25 7; plays games 6,3000,"
        '"$1,500.00",L-7,2027-01-31\n'
    )
    assert outcomes(send(at_noon, "tables", text)) == ["new"]
    (table,) = items(at_noon, "/tables")
    assert table["place"]["since"].startswith("2025-03-05T00:30:00")
    profile = at_noon.get(f"/v1/tables/{table['id']}").json()
    assert profile["accepts"] == ["0.25", "1.00"]
    assert profile["power"] == {"kind": "battery", "chemistry": "agm", "nominal_volts": 12, "capacity_ah": "9.0"}
    assert profile["meters"][0]["unit_value"] == "0.25"
    assert profile["cash_box"] == {"coins_max": 3000, "notes_max": None, "value_max": "1500.00"}
    assert profile["licence"] == {"number": "L-7", "expires_on": "2027-01-31"}
    assert outcomes(send(at_noon, "tables", text)) == ["same"]


def test_a_table_named_twice_is_refused_and_so_is_a_label_of_two_places(here: TestClient, route: Route) -> None:
    tables = "venue,label,accepts\nThe Copper Lantern,Upstairs,0.25\nThe Copper Lantern,upstairs,0.25\n"
    twice = send(here, "tables", tables, mode="lines")
    assert (outcomes(twice), codes(twice)) == (["new", "refused"], [None, "twice_in_file"])
    route.table(route.venue(name="The Tin Heron")["id"])
    readings = "table,taken_at,volts\nWindow side,2026-11-20 18:00,12.5\n"
    answer = send(here, "readings", readings)
    assert codes(answer) == ["ambiguous_name"]
    assert "add the column venue" in answer["lines"][0]["problem"]["errors"][0]["expected"]
    assert outcomes(send(here, "readings", "venue," + readings.replace("\nW", "\nThe Tin Heron,W"))) == ["new"]


def test_two_keys_for_one_name_are_told_and_not_merged(here: TestClient) -> None:
    tables = "key,venue,label,accepts\n1,The Copper Lantern,Upstairs,0.25\n2,The Copper Lantern,upstairs,0.50\n"
    assert codes(send(here, "tables", tables)) == [None, "twice_in_file"]
    assert len(items(here, "/tables")) == 1


def test_readings_are_recorded_corrected_and_never_doubled(here: TestClient) -> None:
    text = "table,taken_at,meter cash,meter plays,volts,clock day,clock time\nWindow side,2026-11-20 18:00,120,31,12.62,Friday,6:02 pm\n"
    assert outcomes(send(here, "readings", text)) == ["new"]
    assert outcomes(send(here, "readings", text)) == ["same"]
    (reading,) = items(here, "/readings")
    assert (reading["taken_at"], reading["meters"]) == ("2026-11-20T23:00:00Z", {"cash": 120, "plays": 31})
    assert reading["clock"] == {"time": "18:02", "weekday": "fri", "date": None, "display": None}
    assert outcomes(send(here, "readings", text.replace(",31,", ",33,"))) == ["changed"]
    first, second = items(here, "/readings")
    assert first["voided"]["reason"] == "Corrected by line 2 of an import."
    assert (second["voided"], second["meters"]) == (None, {"cash": 120, "plays": 33})
    assert outcomes(send(here, "readings", text)) == ["changed"]
    assert [bool(reading["voided"]) for reading in items(here, "/readings")] == [True, True, False]
    repeated = send(here, "readings", text + text.splitlines()[1] + "\n" + text.splitlines()[1].replace(",31,", ",34,"))
    assert codes(repeated) == [None, None, "twice_in_file"]


def test_an_offset_beside_the_time_is_heeded_as_our_exports_write_it(here: TestClient) -> None:
    text = "table,taken_at,taken_at_offset,volts\nWindow side,2026-11-01 01:30:00,{},12.5\n"
    for offset in ("-04:00", "-05:00"):  # an hour that came twice
        assert outcomes(send(here, "readings", text.format(offset))) == ["new"]
    assert [one["taken_at"] for one in items(here, "/readings")] == ["2026-11-01T05:30:00Z", "2026-11-01T06:30:00Z"]
    assert codes(send(here, "readings", text.format("west"))) == ["unreadable_cell"]


def test_the_problem_of_a_reading_is_the_apis_own(here: TestClient) -> None:
    text = "table,taken_at,meter cash,meter tokens\nWindow side,2026-11-20 18:00,12345678,\nWindow side,2026-11-21 18:00,,5\n"
    answer = send(here, "readings", text, mode="lines")
    assert codes(answer) == ["invalid", "invalid"]
    errors = [line["problem"]["errors"][0] for line in answer["lines"]]
    assert errors[0] == {"where": "meters.cash", "found": "12345678", "expected": "at most 7 digits"}
    assert errors[1] == {"where": "meters.tokens", "found": "no such meter", "expected": "one of cash, plays"}


def test_tariffs_are_all_the_lines_of_one_code(at_noon: TestClient) -> None:
    text = (
        "code,name,currency,sells,price,units\nweekday,Weekday play,USD,games,$7.00,11\nweekday,Weekday play,USD,games,0.75,1\n"
        "closing,Free play,USD,free,,\n"
    )
    assert outcomes(send(at_noon, "tariffs", text)) == ["new"] * 3
    first = items(at_noon, "/tariffs")[0]
    assert [(price["price"], price["units"]) for price in first["games"]["prices"]] == [("0.75", 1), ("7.00", 11)]
    assert outcomes(send(at_noon, "tariffs", text)) == ["same"] * 3
    assert outcomes(send(at_noon, "tariffs", text.replace("7.00", "8.00"))) == ["changed", "changed", "same"]
    assert [(tariff["code"], tariff["version"]) for tariff in items(at_noon, "/tariffs")][-1] == ("weekday", 2)
    wrong = send(at_noon, "tariffs", text.replace("0.75,1\n", "0.75,\n"), mode="lines")
    assert codes(wrong) == ["empty_cell", "empty_cell", None]
    assert wrong["lines"][0]["problem"]["errors"][0]["where"] == "line 3.units"
    assert codes(send(at_noon, "tariffs", text.replace("0.75,1\n", "0.75,12\n"))) == ["prices_not_rising"] * 2 + [None]


def test_agreements_and_their_next_version(here: TestClient) -> None:
    text = (
        "venue,from,share,first_money,first_money_name,first_money_per\n"
        "The Copper Lantern,2026-01-01,50%,10,Service charge,collection\n"
    )
    assert outcomes(send(here, "agreements", text)) == ["new"]
    assert outcomes(send(here, "agreements", text)) == ["same"]
    assert outcomes(send(here, "agreements", text.replace("50%", "45"))) == ["changed"]
    venue = items(here, "/venues")[0]["id"]
    agreements = items(here, f"/venues/{venue}/agreements")
    assert [(one["version"], one["venue_percent"]) for one in agreements] == [(1, "50"), (2, "45")]
    assert agreements[0]["first_money"][0]["amount"] == "10.00"


def test_collections_are_the_boxes_of_one_venue_and_time(here: TestClient, route: Route) -> None:
    venue = items(here, "/venues")[0]["id"]
    route.table(venue, label="Upstairs", placed_at="2025-01-01T12:00:00Z")
    route.post(f"/venues/{venue}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
    text = (
        "venue,table,collected at,0.25,counted 1.00,meter cash,collector\n"
        "The Copper Lantern,Window side,2026-11-20 18:00,8,4,60,Rosalind\n"
        "The Copper Lantern,Upstairs,2026-11-20 18:00,4,1,,Rosalind\n"
    )
    assert outcomes(send(here, "collections", text)) == ["new", "new"]
    assert outcomes(send(here, "collections", text)) == ["same", "same"]
    (collection,) = items(here, "/collections")
    assert (collection["counted"], collection["collector"], len(collection["tables"])) == ("8.00", "Rosalind", 2)
    assert outcomes(send(here, "collections", text.replace(",4,1,", ",4,2,"))) == ["changed", "changed"]
    assert [(one["status"], one["counted"]) for one in items(here, "/collections")] == [
        ("reversed", "8.00"),
        ("settled", "9.00"),
    ]
    balances = {one["account"]: one["balance"] for one in items(here, "/ledger/accounts")}
    assert balances["cash_in_bags"] == "4.50"
    odd = send(here, "collections", text.replace("1,,Rosalind", "1,,Ana").replace("11-20", "11-21"))
    assert codes(odd) == ["lines_disagree"] * 2


def test_opening_balances_are_posted_once_and_corrected_by_a_reversal(here: TestClient) -> None:
    text = "account,venue,amount,on\nbank,,1250,2026-01-01\nowed_to_venues,The Copper Lantern,$80.50,2026-01-01\n"
    assert outcomes(send(here, "opening_balances", text)) == ["new", "new"]
    assert outcomes(send(here, "opening_balances", text)) == ["same", "same"]
    assert outcomes(send(here, "opening_balances", text.replace("1250", "1350.00"))) == ["changed", "same"]
    balances = {one["account"]: one["balance"] for one in items(here, "/ledger/accounts")}
    assert (balances["bank"], balances["owed_to_venues"]) == ("1350.00", "-80.50")
    assert here.get("/v1/ledger/verify").json()["ok"]
    odd = send(here, "opening_balances", text.replace("$80.50", "€80.50").replace("1250", "0"))
    assert codes(odd) == ["amount_not_positive", "currency_differs"]


def test_one_file_sent_four_times_at_once_is_stored_once(at_noon: TestClient) -> None:
    def ask() -> Any:
        return at_noon.post("/v1/imports", params={"of": "venues"}, content=VENUES, headers=CSV)

    with ThreadPoolExecutor(4) as threads:
        answers = [answer.json() for answer in threads.map(patiently, [ask] * 4)]
    assert sorted(answer["new"] for answer in answers) == [0, 0, 0, 2]
    assert len(items(at_noon, "/venues")) == 2


def test_a_token_that_is_not_an_owners_is_refused_before_a_byte_is_read(at_noon: TestClient, route: Route) -> None:
    answer = at_noon.post("/v1/imports?of=venues", content=b"\xff" * 100, headers={**CSV, **route.token("collector")})
    assert answer.status_code == 403


def test_a_file_may_be_compressed_and_is_bounded_before_and_after(at_noon: TestClient) -> None:
    packed = {**CSV, "Content-Encoding": "gzip"}
    answer = at_noon.post("/v1/imports?of=venues", content=gzip.compress(VENUES.encode()), headers=packed)
    assert answer.json()["new"] == 2
    bomb = gzip.compress(b"name,time_zone,currency\n" + b" " * 40_000_000)
    assert at_noon.post("/v1/imports?of=venues", content=bomb, headers=packed).status_code == 413
    large = at_noon.post("/v1/imports?of=venues", content=b" " * (16 * 1024 * 1024 + 1), headers=CSV)
    assert large.status_code == 413


def test_a_key_of_its_own_answers_the_same_file_again_and_refuses_another(at_noon: TestClient) -> None:
    headers = {**CSV, "Idempotency-Key": "first file"}
    first = at_noon.post("/v1/imports?of=venues", content=VENUES, headers=headers)
    again = at_noon.post("/v1/imports?of=venues", content=VENUES, headers=headers)
    assert (first.status_code, again.status_code, first.json()) == (201, 201, again.json())
    other = at_noon.post("/v1/imports?of=venues", content=VENUES + "\n", headers=headers)
    assert (other.status_code, other.json()["code"]) == (422, "key_reused")
