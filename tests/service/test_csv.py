"""CSV for the spreadsheets of every country, and refusals that a cell can show."""

import csv
import io
from typing import Any

import pytest
from baizebook.web.csv_text import Dialect, csv_text, number_in, text_cell
from fastapi.testclient import TestClient

from tests.conftest import Route

COMMA = Dialect(decimal_comma=True, semicolon=True)


def test_an_instant_is_a_local_date_and_time_and_an_offset() -> None:
    text = csv_text(
        ("at", "opens_at", "seat"), [("2026-12-01T21:00:00-05:00", "2026-11-25T17:00:00Z", "x"), ("", None, "y")]
    )
    assert text == (
        "at,at_offset,opens_at,opens_at_offset,seat\r\n"
        "2026-12-01 21:00:00,-05:00,2026-11-25 17:00:00,+00:00,x\r\n"
        ",,,,y\r\n"
    )  # fmt: skip
    with pytest.raises(ValueError, match="with its offset"):
        csv_text(("at",), [("2026-12-01T21:00:00",)])


def test_numbers_take_the_comma_and_text_keeps_its_point() -> None:
    text = csv_text(("amount", "count", "label"), [("10.00", 3, text_cell("3.1")), ("-0.50", "", text_cell("a;b"))])
    assert text.written_as(COMMA) == 'amount;count;label\r\n10,00;3;3.1\r\n-0,50;;"a;b"\r\n'
    assert text.written_as(Dialect(decimal_comma=True)) == 'amount,count,label\r\n"10,00",3,3.1\r\n"-0,50",,a;b\r\n'
    assert text.written_as(Dialect(bom=True)) == "\ufeff" + text
    assert [number_in(cell, COMMA) for cell in ("1.50", "2026-12-01", "1.2.3", "closed", 7)] == [
        "1,50", "2026-12-01", "1.2.3", "closed", 7
    ]  # fmt: skip


def test_every_operation_with_csv_takes_the_same_options(client: TestClient, route: Route) -> None:
    venue = route.venue(name="The Copper Lantern; upstairs")
    route.schedule(venue["id"], route.tariff()["id"])
    route.table(venue["id"])
    contract = client.get("/openapi.json").json()
    asked = {
        "from": "2026-01-01",
        "to": "2026-12-31",
        "month": "2026-11",
        "year": 2026,
        "venue_id": venue["id"],
        "money": "10.00",
    }
    seen = []
    for path, item in contract["paths"].items():
        get = item.get("get", {})
        if "text/csv" not in get.get("responses", {}).get("200", {}).get("content", {}):
            continue
        names = {parameter["name"] for parameter in get["parameters"]}
        assert {"decimal", "separator", "bom"} < names, path
        needed = {
            name: asked[name]
            for name in names
            if name in asked and not (name == "year" and "month" in names)
        }  # fmt: skip
        query: dict[str, Any] = {**needed, "format": "csv"}
        url = path.replace("{venue_id}", venue["id"])
        if "{" in url:
            continue
        query.pop("venue_id") if "{venue_id}" in path else None
        plain = client.get(url, params=query)
        if plain.status_code == 422:  # it needs what this venue does not have
            continue
        other = client.get(url, params={**query, "decimal": "comma", "separator": "semicolon", "bom": "1"})
        assert (plain.status_code, other.status_code) == (200, 200), (url, plain.text, other.text)
        assert other.content.startswith(b"\xef\xbb\xbf")
        assert int(other.headers["Content-Length"]) == len(other.content)
        before = list(csv.reader(io.StringIO(plain.text)))
        after = list(csv.reader(io.StringIO(other.content.decode("utf-8-sig")), delimiter=";"))
        assert len(before[0]) > 1, url
        assert [len(line) for line in before] == [len(line) for line in after], url
        seen.append(get["operationId"])
    assert {"get_quote", "get_price_grid", "export_ledger", "list_all_tables", "get_statement", "get_earnings"} <= set(
        seen
    )


def test_options_that_are_none_or_of_no_csv_are_refused(client: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    for query, said in (
        ("format=csv&decimal=kommasetzung", "query.decimal: found kommasetzung, expected point or comma"),
        ("format=csv&bom=yes", "query.bom: found yes, expected 0 or 1"),
        ("format=text&separator=semicolon", "query.separator: found it without format=csv"),
    ):
        answer = client.get(f"/v1/quotes?venue_id={venue}&money=1.00&column=units&{query}")
        assert (answer.status_code, said in answer.text) == (422, True), answer.text
    assert client.get(f"/v1/quotes?venue_id={venue}&money=1.00&decimal=comma").json()["code"] == "invalid"


def test_one_value_takes_the_comma(client: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    route.schedule(venue, route.tariff()["id"])
    query = f"venue_id={venue}&money=10.00&at=2026-12-01T21:00&format=text&column=spends"
    assert client.get(f"/v1/quotes?{query}").text == "10.00"
    assert client.get(f"/v1/quotes?{query}&decimal=comma").text == "10,00"


@pytest.mark.parametrize(
    ("path", "status", "said"),
    [
        ("/v1/venues/00000000-0000-4000-8000-000000000000/statements?month=2026-11&format=csv", 404, "Not found: Venue not found."),
        ("/v1/reports/earnings?from=2026-02-30&to=2026-03-01&format=csv", 422, "from: found"),
        ("/v1/tables?format=csv&colour=green", 422, "query.colour"),
        ("/v1/nowhere?format=csv", 404, "Not found"),
    ],
)  # fmt: skip
def test_a_refusal_is_one_line_of_text_wherever_csv_was_asked_for(
    client: TestClient, path: str, status: int, said: str
) -> None:
    answer = client.get(path)
    assert (answer.status_code, answer.headers["Content-Type"]) == (status, "text/plain; charset=utf-8")
    assert said in answer.text
    assert len(answer.text.splitlines()) == 1
    del client.headers["Authorization"]
    nobody = client.get(path)
    assert nobody.status_code in (401, 404)
    assert len(nobody.text.splitlines()) == 1
