"""The journal as CSV by profile, with our account names or the operator's own (L5)."""

import csv
import io
from datetime import date

import pytest
from baizebook.ledger.entry_kinds import collection_postings, owner_postings
from baizebook.ledger.export.account_names import VenueName, account_codes, account_names
from baizebook.ledger.export.csv_journal import PROFILES
from baizebook.ledger.export.period import ExportPeriod
from baizebook.ledger.posting import Leaf, Posting
from baizebook.pricing.errors import DomainError
from baizebook.pricing.money import parse_money
from baizebook.web.csv_text import text_cell

from tests.ledger.extracts import csv_of, extract

CORNER = "0198c0de-0000-7000-8000-00000000c0de"
HARBOUR = "0198c0de-0000-7000-8000-0000000ba405"
NOVEMBER = ExportPeriod.of_month(2026, 11)
VENUES = {CORNER: VenueName("Corner Bar", "Corner-Bar"), HARBOUR: VenueName("Harbour Arms", "Harbour-Arms")}


def monday(venue_id=CORNER):
    return collection_postings(
        venue_id=venue_id,
        counted_minor=10000,
        tax_minor=385,
        venue_share_minor=4807,
        to_venue_now_minor=4807,
        to_venue_balance_minor=0,
    )


@pytest.fixture
def november(journal):
    booked = [
        ("opening", date(2026, 10, 1), owner_postings(kind="opening", amount_minor=5000)),
        ("collection", date(2026, 11, 2), monday()),
    ]
    return extract(journal(booked, reference='Bag 7, "blue"'), NOVEMBER, opening="balances")


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_two_columns_put_each_amount_under_debit_or_credit(november):
    assert csv_of(november, venues=VENUES, profile="two_column").split("\r\n") == [
        "date,entry,kind,account,debit,credit,currency,venue_id,venue,description,entry_id,source_id",
        "2026-11-01,,opening_balances,bank,50.00,,USD,,,Opening balances,,",
        "2026-11-01,,opening_balances,opening_equity,,50.00,USD,,,Opening balances,,",
        *(
            f'2026-11-02,2,collection,{cells},"Bag 7, ""blue""",00000000-0000-0000-0000-000000000002,'
            for cells in (
                "cash_in_bags,100.00,,USD,,",
                f"owed_to_venues:Corner-Bar,48.07,,USD,{CORNER},Corner Bar",
                f"venue_share:Corner-Bar,48.07,,USD,{CORNER},Corner Bar",
                "cash_in_bags,,48.07,USD,,",
                f"owed_to_venues:Corner-Bar,,48.07,USD,{CORNER},Corner Bar",
                "tax_payable,,3.85,USD,,",
                f"play_takings:Corner-Bar,,96.15,USD,{CORNER},Corner Bar",
            )
        ),
        "",
    ]


def test_signed_amounts_are_debit_positive_and_never_guarded(november):
    amounts = [row["amount"] for row in rows(csv_of(november, venues=VENUES, profile="signed"))]
    assert amounts == ["50.00", "-50.00", "100.00", "48.07", "48.07", "-48.07", "-48.07", "-3.85", "-96.15"]


def test_account_and_contra_account_move_the_same_money(november):
    told = [
        (row["account"], row["contra_account"], row["amount"])
        for row in rows(csv_of(november, venues=VENUES, profile="contra"))
    ]
    assert told == [
        ("bank", "opening_equity", "50.00"),
        ("cash_in_bags", "tax_payable", "3.85"),
        ("cash_in_bags", "play_takings:Corner-Bar", "48.08"),
        ("venue_share:Corner-Bar", "play_takings:Corner-Bar", "48.07"),
    ]


def test_money_that_only_passed_through_one_account_still_has_its_line(journal):
    there_and_back = (Posting("cash_in_bags", None, 600), Posting("cash_in_bags", None, -600))
    told = rows(
        csv_of(
            extract(journal([("collection", date(2026, 11, 2), there_and_back)]), NOVEMBER, opening="balances"),
            venues=VENUES,
            profile="contra",
        )
    )
    assert [(row["account"], row["contra_account"], row["amount"]) for row in told] == [
        ("cash_in_bags", "cash_in_bags", "6.00")
    ]


@pytest.mark.parametrize("profile", PROFILES)
def test_every_profile_gives_the_closing_balances(november, profile):
    sums: dict[str, int] = {}
    for row in rows(csv_of(november, venues=VENUES, profile=profile)):
        if profile == "two_column":
            moved = [(row["account"], row["debit"] or "-" + row["credit"])]
        elif profile == "signed":
            moved = [(row["account"], row["amount"])]
        else:
            moved = [(row["account"], row["amount"]), (row["contra_account"], "-" + row["amount"])]
        for account, amount in moved:
            sums[account] = sums.get(account, 0) + parse_money(amount, row["currency"])
    names = account_codes(november.leaves, VENUES)
    assert {k: v for k, v in sums.items() if v} == {
        names[leaf]: amount for leaf, _, amount in november.closing if amount
    }


@pytest.mark.parametrize(
    ("currency", "amounts"),
    [("JPY", ["5000", "-5000"]), ("USD", ["50.00", "-50.00"]), ("KWD", ["5.000", "-5.000"])],
)
def test_amounts_have_the_decimals_of_their_currency(journal, currency, amounts):
    booked = [("deposit", date(2026, 11, 2), owner_postings(kind="deposit", amount_minor=5000))]
    told = rows(
        csv_of(
            extract(journal(booked, currency=currency), NOVEMBER, opening="balances"), venues=VENUES, profile="signed"
        )
    )
    assert [row["amount"] for row in told] == amounts


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "|", "%", "＝", "＋", "－", "＠"])
def test_a_text_that_a_spreadsheet_would_run_is_guarded(sign):
    assert text_cell(f"{sign}1+1") == f"'{sign}1+1"
    assert text_cell(f" \t\r\n{sign}1+1") == f"'{sign}1+1"
    assert text_cell(f"Bag {sign}7") == f"Bag {sign}7"


def test_a_guarded_reference_arrives_in_its_cell(journal):
    booked = [("deposit", date(2026, 11, 2), owner_postings(kind="deposit", amount_minor=5000))]
    entries = journal(booked, reference='=HYPERLINK("http://x.example","a")\r\n\x00\ud800,')
    for row in rows(csv_of(extract(entries, NOVEMBER, opening="balances"), venues=VENUES, profile="signed")):
        assert row["description"] == '\'=HYPERLINK("http://x.example","a") ,'


OWN = {
    "bank": "K-02 Bank",
    "cash_in_bags": "K-01 Cash",
    "opening_equity": "9000 Opening",
    "owed_to_venues": "K-03 Creditors",
    "venue_share": "4900 Commission",
    "tax_payable": "K-08 Tax",
    "play_takings": "8400 Takings",
}


def test_the_operators_own_chart_names_the_accounts(november):
    own = {**OWN, f"owed_to_venues:{CORNER}": "K-04 Corner", "tax_payable": "=K-08"}
    told = rows(csv_of(november, venues=VENUES, profile="signed", own_chart=own))
    assert {row["account"] for row in told} == {
        "K-02 Bank",
        "K-01 Cash",
        "9000 Opening",
        "K-04 Corner",
        "4900 Commission",
        "'=K-08",
        "8400 Takings",
    }


def test_all_accounts_without_a_name_are_listed_at_once(november):
    with pytest.raises(DomainError) as caught:
        csv_of(november, venues=VENUES, profile="signed", own_chart={"bank": "1200", "venue_share": " "})
    assert [(fault.code, fault.where) for fault in caught.value.faults] == [
        ("account_not_mapped", "cash_in_bags"),
        ("account_not_mapped", "owed_to_venues"),
        ("account_not_mapped", "tax_payable"),
        ("account_not_mapped", "opening_equity"),
        ("account_not_mapped", "play_takings"),
        ("account_not_mapped", "venue_share"),
    ]


def test_an_unknown_profile_is_refused(november):
    with pytest.raises(DomainError, match="two_column, signed, contra"):
        csv_of(november, venues=VENUES, profile="diagonal")


def test_two_venues_that_would_share_a_name_are_refused_rather_than_mixed():
    twins = [Leaf("venue_loans", CORNER), Leaf("venue_loans", HARBOUR)]
    venues = dict.fromkeys((CORNER, HARBOUR), VenueName("Corner Bar", "Corner-Bar"))
    with pytest.raises(DomainError, match="also venue_loans"):
        account_codes(twins, venues)
    assert account_codes(twins, venues, {"venue_loans": "K-05 Loans"}) == dict.fromkeys(twins, "K-05 Loans")


def test_an_account_with_and_without_a_venue_has_two_names():
    leaves = [Leaf("write_offs"), Leaf("write_offs", HARBOUR)]
    assert list(account_codes(leaves, VENUES).values()) == ["write_offs", "write_offs:Harbour-Arms"]
    names = account_names(leaves, VENUES)
    assert list(names.values()) == ["Expenses:Write-Offs:General", "Expenses:Write-Offs:Harbour-Arms"]


def test_a_venues_column_names_it_as_it_is_called_today_and_no_description_is_empty(journal):
    booked = [
        ("venue_payment", date(2026, 11, 3), owner_postings(kind="venue_payment", amount_minor=9, venue_id=CORNER)),
        ("deposit", date(2026, 11, 4), owner_postings(kind="deposit", amount_minor=5)),
    ]
    venues = {CORNER: VenueName("=Corner House", "Corner-Bar")}
    told = rows(csv_of(extract(journal(booked), NOVEMBER, opening="none"), venues=venues, profile="contra"))
    assert [(row["account"], row["venue"], row["description"]) for row in told] == [
        ("owed_to_venues:Corner-Bar", "'=Corner House", "Payment to the venue, =Corner House"),
        ("bank", "", "Deposit at the bank"),
    ]


def test_three_months_add_up_to_the_closing_balances(journal):
    booked = [
        ("opening", date(2026, 10, 1), owner_postings(kind="opening", amount_minor=5000)),
        ("collection", date(2026, 10, 2), monday()),
        ("collection", date(2026, 11, 2), monday(HARBOUR)),
        ("collection", date(2026, 12, 31), monday()),
    ]
    sums: dict[str, int] = {}
    for month in (10, 11, 12):
        part = extract(journal(booked), ExportPeriod.of_month(2026, month), opening="none", close="year")
        for row in rows(csv_of(part, venues=VENUES, profile="signed")):
            sums[row["account"]] = sums.get(row["account"], 0) + parse_money(row["amount"], row["currency"])
    names = account_codes(part.leaves, VENUES)
    assert sums == {names[leaf]: amount for leaf, _, amount in part.closing}
    assert sums["retained_earnings"] == -3 * (9615 - 4807)


@pytest.mark.parametrize("profile", PROFILES)
def test_an_empty_month_is_a_header_alone(journal, profile):
    assert csv_of(extract(journal([]), NOVEMBER, opening="balances"), venues=VENUES, profile=profile).count("\r\n") == 1


@pytest.mark.parametrize("profile", PROFILES)
def test_the_same_export_twice_is_the_same_to_the_byte(journal, profile):
    booked = [("collection", date(2026, 11, 2), monday(v)) for v in (CORNER, HARBOUR)]
    once, again = (
        csv_of(extract(order, NOVEMBER, opening="balances"), venues=VENUES, profile=profile)
        for order in (journal(booked), journal(booked)[::-1])
    )
    assert once.encode() == again.encode()
