"""The journal as CSV by profile, with our account names or the operator's own (L5)."""

import csv
import io
from datetime import date

import pytest
from baizebook.ledger.export.account_names import account_names
from baizebook.ledger.export.csv_journal import PROFILES, journal_csv, text_cell
from baizebook.ledger.export.period import Period, extract
from baizebook.ledger.kinds import collection_postings, owner_postings
from baizebook.ledger.posting import Leaf, Posting
from baizebook.pricing.errors import DomainError
from baizebook.pricing.money import parse_money

CORNER = "0198c0de-0000-7000-8000-00000000c0de"
HARBOUR = "0198c0de-0000-7000-8000-0000000ba405"
NOVEMBER = Period.of_month(2026, 11)


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
    return extract(journal(booked, reference='Bag 7, "blue"'), NOVEMBER)


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_two_columns_put_each_amount_under_debit_or_credit(november):
    assert journal_csv(november, profile="two_column").split("\r\n") == [
        "date,entry,kind,account,debit,credit,currency,venue_id,reference,entry_id,source_id",
        "2026-11-01,,opening_balances,Assets:Bank,50.00,,USD,,,,",
        "2026-11-01,,opening_balances,Equity:Opening-Equity,,50.00,USD,,,,",
        *(
            f'2026-11-02,2,collection,{cells},"Bag 7, ""blue""",00000000-0000-0000-0000-000000000002,'
            for cells in (
                "Assets:Cash-In-Bags,100.00,,USD,",
                f"Liabilities:Owed-To-Venues:V-00000000c0de,48.07,,USD,{CORNER}",
                f"Expenses:Venue-Share:V-00000000c0de,48.07,,USD,{CORNER}",
                "Assets:Cash-In-Bags,,48.07,USD,",
                f"Liabilities:Owed-To-Venues:V-00000000c0de,,48.07,USD,{CORNER}",
                "Liabilities:Tax-Payable,,3.85,USD,",
                f"Income:Play-Takings:V-00000000c0de,,96.15,USD,{CORNER}",
            )
        ),
        "",
    ]


def test_signed_amounts_are_debit_positive_and_never_guarded(november):
    amounts = [row["amount"] for row in rows(journal_csv(november, profile="signed"))]
    assert amounts == ["50.00", "-50.00", "100.00", "48.07", "48.07", "-48.07", "-48.07", "-3.85", "-96.15"]


def test_account_and_contra_account_move_the_same_money(november):
    told = [
        (row["account"], row["contra_account"], row["amount"]) for row in rows(journal_csv(november, profile="contra"))
    ]
    assert told == [
        ("Assets:Bank", "Equity:Opening-Equity", "50.00"),
        ("Assets:Cash-In-Bags", "Liabilities:Tax-Payable", "3.85"),
        ("Assets:Cash-In-Bags", "Income:Play-Takings:V-00000000c0de", "48.08"),
        ("Expenses:Venue-Share:V-00000000c0de", "Income:Play-Takings:V-00000000c0de", "48.07"),
    ]


def test_money_that_only_passed_through_one_account_still_has_its_line(journal):
    there_and_back = (Posting("cash_in_bags", None, 600), Posting("cash_in_bags", None, -600))
    told = rows(
        journal_csv(extract(journal([("collection", date(2026, 11, 2), there_and_back)]), NOVEMBER), profile="contra")
    )
    assert [(row["account"], row["contra_account"], row["amount"]) for row in told] == [
        ("Assets:Cash-In-Bags", "Assets:Cash-In-Bags", "6.00")
    ]


@pytest.mark.parametrize("profile", PROFILES)
def test_every_profile_gives_the_closing_balances(november, profile):
    sums: dict[str, int] = {}
    for row in rows(journal_csv(november, profile=profile)):
        if profile == "two_column":
            moved = [(row["account"], row["debit"] or "-" + row["credit"])]
        elif profile == "signed":
            moved = [(row["account"], row["amount"])]
        else:
            moved = [(row["account"], row["amount"]), (row["contra_account"], "-" + row["amount"])]
        for account, amount in moved:
            sums[account] = sums.get(account, 0) + parse_money(amount, row["currency"])
    names = account_names(november.leaves)
    assert {k: v for k, v in sums.items() if v} == {
        names[leaf]: amount for leaf, _, amount in november.closing if amount
    }


@pytest.mark.parametrize(
    ("currency", "amounts"),
    [("JPY", ["5000", "-5000"]), ("USD", ["50.00", "-50.00"]), ("KWD", ["5.000", "-5.000"])],
)
def test_amounts_have_the_decimals_of_their_currency(journal, currency, amounts):
    booked = [("deposit", date(2026, 11, 2), owner_postings(kind="deposit", amount_minor=5000))]
    told = rows(journal_csv(extract(journal(booked, currency=currency), NOVEMBER), profile="signed"))
    assert [row["amount"] for row in told] == amounts


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "|", "%", "＝", "＋", "－", "＠"])
def test_a_text_that_a_spreadsheet_would_run_is_guarded(sign):
    assert text_cell(f"{sign}1+1") == f"'{sign}1+1"
    assert text_cell(f" \t\r\n{sign}1+1") == f"'{sign}1+1"
    assert text_cell(f"Bag {sign}7") == f"Bag {sign}7"


def test_a_guarded_reference_arrives_in_its_cell(journal):
    booked = [("deposit", date(2026, 11, 2), owner_postings(kind="deposit", amount_minor=5000))]
    entries = journal(booked, reference='=HYPERLINK("http://x.example","a")\r\n\x00\ud800,')
    for row in rows(journal_csv(extract(entries, NOVEMBER), profile="signed")):
        assert row["reference"] == '\'=HYPERLINK("http://x.example","a") ,'


OWN = {
    "bank": "1200 Bank",
    "cash_in_bags": "1000 Cash",
    "opening_equity": "9000 Opening",
    "owed_to_venues": "1600 Creditors",
    "venue_share": "4900 Commission",
    "tax_payable": "3800 Tax",
    "play_takings": "8400 Takings",
}


def test_the_operators_own_chart_names_the_accounts(november):
    own = {**OWN, f"owed_to_venues:{CORNER}": "1601 Corner", "tax_payable": "=3800"}
    told = rows(journal_csv(november, profile="signed", own_chart=own))
    assert {row["account"] for row in told} == {
        "1200 Bank",
        "1000 Cash",
        "9000 Opening",
        "1601 Corner",
        "4900 Commission",
        "'=3800",
        "8400 Takings",
    }


def test_all_accounts_without_a_name_are_listed_at_once(november):
    with pytest.raises(DomainError) as caught:
        journal_csv(november, profile="signed", own_chart={"bank": "1200", "venue_share": " "})
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
        journal_csv(november, profile="diagonal")


def test_two_venues_that_would_share_a_name_are_refused_rather_than_mixed():
    twins = [Leaf("venue_loans", CORNER), Leaf("venue_loans", CORNER.replace("0198", "0199"))]
    with pytest.raises(DomainError, match="last twelve digits"):
        account_names(twins)
    assert account_names(twins, {"venue_loans": "1500 Loans"}) == dict.fromkeys(twins, "1500 Loans")


def test_an_account_with_and_without_a_venue_has_two_names():
    names = account_names([Leaf("write_offs"), Leaf("write_offs", HARBOUR)])
    assert list(names.values()) == ["Expenses:Write-Offs:General", "Expenses:Write-Offs:V-0000000ba405"]


@pytest.mark.parametrize("profile", PROFILES)
def test_an_empty_month_is_a_header_alone(journal, profile):
    assert journal_csv(extract(journal([]), NOVEMBER), profile=profile).count("\r\n") == 1


@pytest.mark.parametrize("profile", PROFILES)
def test_the_same_export_twice_is_the_same_to_the_byte(journal, profile):
    booked = [("collection", date(2026, 11, 2), monday(v)) for v in (CORNER, HARBOUR)]
    once, again = (
        journal_csv(extract(order, NOVEMBER), profile=profile) for order in (journal(booked), journal(booked)[::-1])
    )
    assert once.encode() == again.encode()
