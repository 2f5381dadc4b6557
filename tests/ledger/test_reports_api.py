"""Exports, statements and years through the service, from entries of every kind (L5)."""

import csv
import io
import re
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from baizebook.ledger.entry_kinds import collection_postings
from baizebook.ledger.export.account_names import VenueName, account_names
from baizebook.ledger.posting import Leaf
from baizebook.ledger.service import balance, loan_balance, post_entry, reverse_entry
from baizebook.store.db import reading, writing
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from tests.accounting_programs import PROGRAMS, TOOLS, Sums, beancount_balances, program_balances, tool_balances
from tests.conftest import Route

NOW = datetime(2026, 11, 25, 17, 0, tzinfo=UTC)


class Books:
    """An autumn at two venues, one in dollars and one in yen."""

    def __init__(self, engine: Engine, route: Route) -> None:
        self.corner = route.venue(name='=SUM("Corner")', legal_name="Corner Tavern LLC")["id"]
        self.osaka = route.venue(name="Tanuki Hall", time_zone="Asia/Tokyo", currency="JPY")["id"]
        self.engine, self.route = engine, route
        self.owner("opening", "1000.00", on="2026-09-30", currency="USD")
        self.owner("opening", "15.00", venue_id=self.corner, on="2026-10-01")
        self.owner("loan_advance", "300.00", venue_id=self.corner, on="2026-10-01")
        self.collect(self.corner, "USD", date(2026, 10, 20), counted=40000, tax=1600, share=19200, repaid=5000)
        wrong = self.collect(self.corner, "USD", date(2026, 11, 9), counted=99900, share=49950)
        with writing(engine) as session:
            reverse_entry(session, wrong, on=date(2026, 11, 10), reference="a bag counted twice", now=NOW)
        self.collect(self.corner, "USD", date(2026, 11, 9), counted=90000, share=45000, repaid=5000, now=10000)
        self.owner("venue_payment", "200.00", venue_id=self.corner, on="2026-11-30")
        self.collect(self.osaka, "JPY", date(2026, 11, 12), counted=24000, share=12000, now=12000)

    def owner(self, kind: str, amount: str, **more: Any) -> None:
        self.route.post("/ledger/entries", {"kind": kind, "amount": amount, **more})

    def collect(
        self,
        venue_id: str,
        currency: str,
        on: date,
        *,
        counted: int,
        share: int,
        tax: int = 0,
        repaid: int = 0,
        now: int = 0,
    ) -> UUID:
        with writing(self.engine) as session:
            return post_entry(
                session,
                kind="collection",
                on=on,
                currency=currency,
                postings=collection_postings(
                    venue_id=venue_id,
                    counted_minor=counted,
                    tax_minor=tax,
                    venue_share_minor=share,
                    loan_repaid_minor=repaid,
                    to_venue_now_minor=now,
                    to_venue_balance_minor=share - repaid - now,
                ),
                reference='Bag "7"; seal | 8',
                source_id=UUID(int=counted),
                now=NOW,
            )


@pytest.fixture
def books(engine: Engine, route: Route) -> Books:
    return Books(engine, route)


IN_ACCOUNTS = {'=SUM("Corner")': "SUM-Corner", "Tanuki Hall": "Tanuki-Hall"}


def all_venues(client: TestClient) -> list[dict[str, Any]]:
    return client.get("/v1/venues").json()["items"]  # type: ignore[no-any-return]


def our_balances(client: TestClient, on: str) -> Sums:
    """What the service itself sums to at the end of a date, by the names of the export."""
    items = client.get(f"/v1/ledger/accounts?on={on}").json()["items"]
    leaves = {(x["account"], x["venue_id"], x["currency"]): Decimal(x["balance"]) for x in items}
    venues = {venue["id"]: VenueName(venue["name"], IN_ACCOUNTS[venue["name"]]) for venue in all_venues(client)}
    names = account_names({Leaf(account, venue_id) for account, venue_id, _ in leaves}, venues)
    return {(names[Leaf(a, v)], currency): amount for (a, v, currency), amount in leaves.items() if amount}


PERIODS = ("", "&from=2026-11-01&to=2026-11-30", "&from=2026-11-10", "&to=2026-10-31", "&from=2026-12-01")


@pytest.mark.usefixtures("books")
def test_beancount_loads_every_export_without_an_error_and_comes_to_our_balances(client: TestClient) -> None:
    for period in PERIODS:
        text = client.get(f"/v1/ledger/export?format=beancount&opening=balances{period}").text
        assert text == client.get(f"/v1/ledger/export?format=beancount&opening=balances{period}").text
        last = period.partition("to=")[2] or "2026-12-31"
        assert beancount_balances(text) == our_balances(client, last), period


@pytest.mark.parametrize("tool", TOOLS)
@pytest.mark.usefixtures("books")
def test_the_ledger_programs_load_every_export_and_come_to_our_balances(client: TestClient, tool: str) -> None:
    for period in PERIODS:
        text = client.get(f"/v1/ledger/export?format=ledger&opening=balances{period}").text
        last = period.partition("to=")[2] or "2026-12-31"
        assert tool_balances(tool, text) == our_balances(client, last), period


MONTHS = (("2026-10-01", "2026-10-31"), ("2026-11-01", "2026-11-30"), ("2026-12-01", "2026-12-31"))


@pytest.mark.parametrize("program", PROGRAMS)
def test_october_november_and_december_loaded_in_turn_give_the_services_own_balances(
    client: TestClient, books: Books, program: str
) -> None:
    books.collect(books.osaka, "JPY", date(2026, 12, 3), counted=900, share=450, now=450)
    language = "beancount" if program == "beancount" else "ledger"
    texts = []
    for from_on, to_on in MONTHS:
        opening = "&opening=balances" if not texts else ""
        asked = f"/v1/ledger/export?format={language}&from={from_on}&to={to_on}{opening}"
        texts.append(client.get(asked).text)
        venue = client.get(f"/v1/venues/{books.corner}")
        renamed = {"name": f"Renamed after {from_on}"}
        IN_ACCOUNTS[renamed["name"]] = "SUM-Corner"
        changed = client.patch(f"/v1/venues/{books.corner}", json=renamed, headers={"If-Match": venue.headers["ETag"]})
        assert changed.status_code == 200, changed.text
        assert program_balances(program, *texts) == our_balances(client, to_on), to_on


@pytest.mark.usefixtures("books")
def test_the_year_is_closed_and_one_currency_exported_where_that_is_asked_for(client: TestClient) -> None:
    text = client.get("/v1/ledger/export?format=beancount&currency=JPY&to=2026-12-31&close=year").text
    assert beancount_balances(text) == {
        ("Equity:Retained-Earnings", "JPY"): -12000,
        ("Assets:Cash-In-Bags", "JPY"): 12000,
    }
    named = client.get("/v1/ledger/export?currency=JPY&to=2026-12-31")
    assert named.headers["content-disposition"].endswith('-2026-12-31-JPY.csv"')
    assert {row["currency"] for row in csv.DictReader(io.StringIO(named.text))} == {"JPY"}


@pytest.mark.usefixtures("books")
def test_the_same_export_twice_is_the_same_to_the_byte_and_every_profile_balances(client: TestClient) -> None:
    for query in ("", "?profile=two_column", "?profile=signed", "?profile=contra", "?from=2026-11-01&to=2026-11-30"):
        first = client.get(f"/v1/ledger/export{query}")
        again = client.get(f"/v1/ledger/export{query}{'&' if query else '?'}format=csv")
        assert first.content == again.content
        assert first.headers["content-type"].startswith("text/csv")
        assert first.content.endswith(b"\r\n")
    rows = list(csv.DictReader(io.StringIO(client.get("/v1/ledger/export?format=csv&profile=signed").text)))
    for currency in ("USD", "JPY"):
        assert sum(Decimal(row["amount"]) for row in rows if row["currency"] == currency) == 0
    named = client.get("/v1/ledger/export?from=2026-11-01&to=2026-11-30&format=beancount")
    assert named.headers["content-disposition"] == ('attachment; filename="journal-2026-11-01-2026-11-30.beancount"')


def test_empty_books_are_exported_too(client: TestClient) -> None:
    header = "date,entry,kind,account,debit,credit,currency,venue_id,venue,description,entry_id,source_id\r\n"
    assert client.get("/v1/ledger/export").text == header
    assert beancount_balances(client.get("/v1/ledger/export?format=beancount").text) == {}


@pytest.mark.usefixtures("books")
def test_what_cannot_be_exported_is_refused(client: TestClient) -> None:
    for query, code in (
        ("from=2026-11-30&to=2026-11-01", "period_backwards"),
        ("format=xlsx", "invalid"),
        ("profile=double", "invalid"),
        ("format=beancount&profile=signed", "invalid"),
        ("from=2026-02-30", "invalid"),
        ("from=1999-12-31", "invalid"),
        ("names=theirs", "invalid"),
        ("opening=all", "invalid"),
        ("close=month", "invalid"),
        ("currency=usd", "invalid"),
        ("names=own", "account_not_mapped"),
    ):
        answer = client.get(f"/v1/ledger/export?{query}")
        assert (answer.status_code, answer.json()["type"]) == (422, f"/problems/{code}"), query


def test_a_currency_that_does_not_exist_is_no_empty_journal(client: TestClient) -> None:
    for format_ in ("csv", "ledger", "beancount"):
        refused = client.get(f"/v1/ledger/export?format={format_}&currency=UDS")
        assert (refused.status_code, "an ISO 4217 code such as USD" in refused.text) == (422, True)


def test_exports_use_the_operators_own_names_and_list_all_that_are_missing(client: TestClient, books: Books) -> None:
    empty = client.get("/v1/ledger/account-names").json()
    assert (empty["names"], len(empty["missing"]), len(empty["accounts"])) == ({}, 20, 20)
    put = client.put("/v1/ledger/account-names", json={"names": {"bank": "K-02 Bank", "cash_in_bags": "K-01 Kasse"}})
    assert put.status_code == 200, put.text
    assert put.json() == client.get("/v1/ledger/account-names").json()
    assert "bank" not in put.json()["missing"]
    refused = client.get("/v1/ledger/export?format=csv&to=2026-10-01")
    assert (refused.status_code, refused.headers["Content-Type"]) == (422, "text/plain; charset=utf-8")
    assert re.findall(r"(\w+): found", refused.text) == ["venue_loans", "owed_to_venues", "opening_equity"]
    ours = client.get("/v1/ledger/export?format=csv&to=2026-10-01&names=ours")
    assert ",bank," in ours.text

    names = {code: f"{1000 + i} {code}" for i, code in enumerate(account["code"] for account in put.json()["accounts"])}
    names[f"venue_loans:{books.corner}"] = "K-06 Loan, Corner"
    assert client.put("/v1/ledger/account-names", json={"names": names}).json()["missing"] == []
    text = client.get("/v1/ledger/export?format=csv&profile=signed&to=2026-10-01").text
    assert '"K-06 Loan, Corner",300.00,USD' in text
    assert "1001 bank" in text
    in_beancount = client.get("/v1/ledger/export?format=beancount")
    assert (in_beancount.status_code, in_beancount.json()["type"]) == (422, "/problems/bad_account_name")
    assert client.put("/v1/ledger/account-names", json={"names": {}}).json()["names"] == {}
    assert client.get("/v1/ledger/export?format=beancount").status_code == 200


def test_a_name_is_refused_for_what_is_no_account(client: TestClient) -> None:
    venue_id = "0198c0de-0000-7000-8000-00000000c0de"
    for code in ("safe", "Bank", "bank:1", f"bank:{venue_id}", "=1+1", ""):
        answer = client.put("/v1/ledger/account-names", json={"names": {code: "1200"}})
        assert answer.status_code == 422, code
    assert client.put("/v1/ledger/account-names", json={"names": {"bank": ""}}).status_code == 422
    assert client.put("/v1/ledger/account-names", json={"names": {"bank": None}}).status_code == 422
    assert client.put("/v1/ledger/account-names", json={}).status_code == 422


def test_a_venues_month_adds_up(client: TestClient, books: Books) -> None:
    told = client.get(f"/v1/venues/{books.corner}/statements?month=2026-11").json()
    assert (told["currency"], told["from_on"], told["to_on"]) == ("USD", "2026-11-01", "2026-11-30")
    assert told["opening"] == {"payable_to_venue": "157.00", "loan": "250.00"}
    assert [
        (line["kind"], line["figures"]["counted"], line["after"]["payable_to_venue"]) for line in told["lines"]
    ] == [
        ("collection", "999.00", "656.50"),
        ("collection", "900.00", "956.50"),
        ("reversal", "-999.00", "457.00"),
        ("venue_payment", "0.00", "257.00"),
    ]
    assert told["totals"]["counted"] == "900.00"
    assert told["totals"]["venue_share"] == "450.00"
    assert told["totals"]["loan_repaid"] == "50.00"
    assert told["totals"]["paid_to_venue"] == "300.00"
    assert told["closing"] == {"payable_to_venue": "257.00", "loan": "200.00"}
    year = client.get(f"/v1/venues/{books.corner}/statements?year=2026").json()
    assert (year["opening"], year["closing"]) == ({"payable_to_venue": "0.00", "loan": "0.00"}, told["closing"])
    assert year["totals"]["opening_balance"] == "15.00"


def test_a_statement_tells_what_first_money_still_waits_for(at_noon: TestClient, route: Route) -> None:
    corner = route.venue()["id"]
    table = route.table(corner)["id"]
    licence = {
        "name": "State licence",
        "amount": "60.00",
        "per": "collection",
        "starts_on": "2026-01-01",
        "spread": False,
    }
    terms = {"effective_on": "2026-01-01", "venue_percent": "50", "first_money": [licence]}
    route.post(f"/venues/{corner}/agreements", terms)
    for number, day in enumerate(("2026-10-20", "2026-11-10")):
        collection = {
            "id": str(UUID(int=number)),
            "venue_id": corner,
            "collected_at": f"{day}T12:00:00-05:00",
            "collector": "Ada",
            "tables": [{"table_id": table, "counted": {"1.00": 10}}],
        }
        assert route.post("/collections", collection)["status"] == "settled"
    path = f"/v1/venues/{corner}/statements"
    for month, carried in (("2026-09", []), ("2026-10", ["50.00"]), ("2026-11", ["100.00"])):
        told = at_noon.get(f"{path}?month={month}").json()
        assert [item["amount"] for item in told["carried_forward"]] == carried, month
    assert told["carried_forward"][0]["name"] == "State licence"
    assert (told["totals"]["first_money"], told["totals"]["venue_share"]) == ("10.00", "0.00")
    assert at_noon.get("/v1/ledger/verify").json()["ok"]


def test_balances_of_a_venue_are_sums_of_its_entries(books: Books) -> None:
    corner = UUID(books.corner)
    with reading(books.engine) as session:
        assert loan_balance(session, venue_id=corner, currency="USD") == 20000
        assert balance(session, account="owed_to_venues", venue_id=corner, currency="USD") == -25700
        assert balance(session, account="owed_to_venues", venue_id=UUID(books.osaka), currency="JPY") == 0
        assert balance(session, account="bank", venue_id=None, currency="USD") == 50000
        assert balance(session, account="bank", venue_id=None, currency="JPY") == 0


def test_a_statement_as_csv_is_guarded_and_begins_and_ends_with_the_balance(client: TestClient, books: Books) -> None:
    client.post(
        "/v1/ledger/entries",
        json={
            "kind": "venue_payment",
            "amount": "7.00",
            "venue_id": books.corner,
            "on": "2026-11-20",
            "reference": "=HYPERLINK(1)",
        },
    )
    path = f"/v1/venues/{books.corner}/statements"
    answer = client.get(f"{path}?month=2026-11&format=csv")
    assert answer.content == client.get(f"{path}?month=2026-11&format=csv").content
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [row["kind"] for row in rows] == [
        "opening_balance",
        "collection",
        "collection",
        "reversal",
        "venue_payment",
        "venue_payment",
        "closing_balance",
    ]
    assert (rows[0]["payable_after"], rows[0]["counted"], rows[-1]["payable_after"]) == ("157.00", "", "250.00")
    assert (rows[3]["counted"], rows[4]["reference"]) == ("-999.00", "'=HYPERLINK(1)")


def test_a_venue_sees_its_own_statement_and_no_other(client: TestClient, books: Books) -> None:
    own, accountant = books.route.token("venue", venue_id=books.corner), books.route.token("accountant")
    path = "/v1/venues/{}/statements?month=2026-11{}"
    for suffix in ("", "&format=csv"):
        assert client.get(path.format(books.corner, suffix), headers=own).status_code == 200
        assert client.get(path.format(books.corner, suffix), headers=accountant).status_code == 200
        other = client.get(path.format(books.osaka, suffix), headers=own)
        absent = client.get(path.format(UUID(int=0), suffix), headers=own)
        assert (other.status_code, other.content) == (404, absent.content)
        collector = books.route.token("collector")
        assert client.get(path.format(books.corner, suffix), headers=collector).status_code == 403


def test_a_statement_and_the_year_name_the_payee_of_their_own_period(client: TestClient, books: Books) -> None:
    change = {
        "legal_name": "Lantern Inc.",
        "payee": "Lantern Inc., Lockbox 7",
        "tax_number": "22",
        "from_on": "2026-11-10",
    }
    answer = client.patch(f"/v1/venues/{books.corner}", json=change, headers={"If-Match": "*"})
    assert answer.status_code == 200, answer.text
    path = f"/v1/venues/{books.corner}/statements"

    def payees(period: str) -> list[tuple[str, str, str]]:
        told = client.get(f"{path}?{period}").json()["payees"]
        return [(item["from_on"], item["to_on"], item["payee"]) for item in told]

    assert payees("month=2026-10") == [("2026-10-01", "2026-10-31", "Corner Tavern LLC")]
    assert payees("month=2026-11") == [
        ("2026-11-01", "2026-11-09", "Corner Tavern LLC"),
        ("2026-11-10", "2026-11-30", "Lantern Inc., Lockbox 7"),
    ]
    assert payees("month=2026-12") == [("2026-12-01", "2026-12-31", "Lantern Inc., Lockbox 7")]
    rows = list(csv.DictReader(io.StringIO(client.get(f"{path}?month=2026-11&format=csv").text)))
    assert [(row["date"], row["payee"]) for row in rows if row["entry"]] == [
        ("2026-11-09", "Corner Tavern LLC"),
        ("2026-11-09", "Corner Tavern LLC"),
        ("2026-11-10", "Lantern Inc., Lockbox 7"),
        ("2026-11-30", "Lantern Inc., Lockbox 7"),
    ]
    years = [item for item in client.get("/v1/reports/year?year=2026").json()["items"] if item["currency"] == "USD"]
    assert [(x["payee"]["legal_name"], x["payee"]["tax_number"], x["total_to_venue"]) for x in years] == [
        ("Corner Tavern LLC", "", "200.00"),
        ("Lantern Inc.", "22", "200.00"),
    ]


def test_a_statement_is_of_one_month_or_one_year(client: TestClient, books: Books) -> None:
    path = f"/v1/venues/{books.corner}/statements"
    for query in (
        "",
        "?month=2026-11&year=2026",
        "?month=2026-13",
        "?month=11",
        "?year=1999",
        "?year=2026.5",
        "?month=",
    ):
        assert client.get(path + query).status_code == 422, query
    later = client.get(f"{path}?month=2099-12").json()
    assert (later["lines"], later["closing"]["payable_to_venue"]) == ([], "257.00")


@pytest.mark.usefixtures("books")
def test_the_year_tells_what_each_venue_was_given_beside_the_threshold(client: TestClient) -> None:
    report = client.get("/v1/reports/year?year=2026").json()
    corner, osaka = sorted(report["items"], key=lambda item: item["currency"], reverse=True)
    assert (corner["venue"], corner["payee"]["legal_name"]) == ('=SUM("Corner")', "Corner Tavern LLC")
    assert (corner["total_to_venue"], corner["over_threshold"]) == ("400.00", False)
    assert (corner["threshold"]["amount"], corner["threshold"]["form"]) == ("2000.00", "1099-MISC")
    assert (osaka["total_to_venue"], osaka["threshold"], osaka["over_threshold"]) == ("12000", None, None)
    assert client.get("/v1/reports/year?year=2025").json() == {"year": 2025, "items": []}
    lines = list(csv.DictReader(io.StringIO(client.get("/v1/reports/year?year=2026&format=csv").text)))
    told = {
        line["currency"]: (line["venue"], line["total_to_venue"], line["threshold"], line["over_threshold"])
        for line in lines
    }
    assert told == {
        "USD": ('\'=SUM("Corner")', "400.00", "2000.00", "no"),
        "JPY": ("Tanuki Hall", "12000", "", ""),
    }
    for query in ("", "?year=1999", "?year=x"):
        assert client.get(f"/v1/reports/year{query}").status_code == 422


def test_the_chain_holds_over_all_of_it(client: TestClient, books: Books) -> None:
    check = client.get("/v1/ledger/verify").json()
    assert (check["ok"], check["entries"]) == (True, 9)
    ids = [item["id"] for item in client.get("/v1/ledger/entries").json()["items"]]
    assert len(set(ids)) == 9
    assert books.corner not in ids
