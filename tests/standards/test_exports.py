"""The exports of the journal, read by the open-source tools that they are written for (L5).

Nothing here is a published figure: the check is that the tools themselves load each file without an error and come to
our balances. ``beancount`` is a test dependency; ``ledger`` and ``hledger`` are run where they are installed.
"""

import re
from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import UUID

import pytest
from baizebook.ledger.chain import with_hash
from baizebook.ledger.entry import GENESIS, Entry
from baizebook.ledger.entry_kinds import collection_postings, owner_postings
from baizebook.ledger.export.account_names import VenueName, account_names
from baizebook.ledger.export.period import ExportPeriod, Extract
from baizebook.ledger.posting import Leaf, mirror
from baizebook.pricing.errors import DomainError
from baizebook.pricing.money import format_money
from beancount import loader
from beancount.core import data
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.accounting_programs import (
    PROGRAMS,
    TOOLS,
    Sums,
    beancount_balances,
    beancount_errors,
    program_balances,
    run,
    tool_balances,
)
from tests.ledger.extracts import beancount_of, extract, ledger_of

CORNER = "0198c0de-0000-7000-8000-00000000c0de"
HARBOUR = "0198c0de-0000-7000-8000-0000000ba405"
NOVEMBER = ExportPeriod.of_month(2026, 11)
NASTY = 'Slip; 7 | "x" \\ [2026-99-99] date:2026-99 key:: 1+ (z) = @ {3}\n2026-01-01 open Assets:Evil\x00'
VENUES = {CORNER: VenueName("Corner Bar", "Corner-Bar"), HARBOUR: VenueName("Harbour Arms", "Harbour-Arms")}


def journal(booked, reference=NASTY):
    entries = []
    for number, (kind, on, currency, postings) in enumerate(booked, start=1):
        entry = Entry(
            id=str(UUID(int=number)),
            number=number,
            kind=kind,
            on=on,
            recorded_at=datetime(2026, 11, 2, 18, 30, tzinfo=UTC),
            currency=currency,
            postings=postings,
            reference=reference,
            source_id=str(UUID(int=number - 1)) if kind == "reversal" else None,
            previous_hash=entries[-1].hash if entries else GENESIS,
        )
        entries.append(with_hash(entry))
    return entries


def collected(venue_id, counted, tax, share, now):
    return collection_postings(
        venue_id=venue_id,
        counted_minor=counted,
        tax_minor=tax,
        venue_share_minor=share,
        to_venue_now_minor=now,
        to_venue_balance_minor=share - now,
    )


def autumn() -> Extract:
    wrong = collected(CORNER, 99999, 1, 50000, 50000)
    booked = [
        ("opening", date(2026, 10, 1), "USD", owner_postings(kind="opening", amount_minor=123456789)),
        (
            "loan_advance",
            date(2026, 10, 2),
            "KWD",
            owner_postings(kind="loan_advance", amount_minor=1250, venue_id=HARBOUR),
        ),
        ("collection", date(2026, 11, 2), "USD", collected(CORNER, 10001, 385, 4808, 4808)),
        ("collection", date(2026, 11, 2), "JPY", collected(HARBOUR, 1500, 0, 750, 0)),
        ("collection", date(2026, 11, 5), "USD", wrong),
        ("reversal", date(2026, 11, 5), "USD", mirror(wrong)),
        ("write_off", date(2026, 11, 6), "KWD", owner_postings(kind="write_off", amount_minor=1, venue_id=HARBOUR)),
        ("write_off", date(2026, 11, 6), "USD", owner_postings(kind="write_off", amount_minor=1)),
        ("deposit", date(2026, 11, 30), "USD", owner_postings(kind="deposit", amount_minor=5193)),
    ]
    return extract(journal(booked), NOVEMBER, opening="balances")


def named(corner, harbour="Harbour Arms"):
    return {CORNER: VenueName(corner, "Corner-Bar"), HARBOUR: VenueName(harbour, "Harbour-Arms")}


def our_balances(told: Extract, own_chart=None) -> Sums:
    names, sums = account_names(told.leaves, VENUES, own_chart), {}
    for leaf, currency, amount in told.closing:
        key = names[leaf], currency
        sums[key] = sums.get(key, Decimal(0)) + Decimal(format_money(amount, currency))
    return {key: amount for key, amount in sums.items() if amount}


def test_beancount_loads_the_journal_without_an_error_and_comes_to_our_balances():
    assert beancount_balances(beancount_of(autumn(), venues=VENUES)) == our_balances(autumn())


@pytest.mark.parametrize("tool", TOOLS)
def test_the_ledger_programs_load_the_journal_strictly_and_come_to_our_balances(tool):
    assert tool_balances(tool, ledger_of(autumn(), venues=VENUES)) == our_balances(autumn())


def test_beancount_finds_every_closing_balance_that_is_off_by_one_minor_unit():
    text = beancount_of(autumn(), venues=VENUES)
    asserted = re.findall(r"^2026-12-01 balance \S+  (\S+) ~ 0 \w+$", text, re.MULTILINE)
    assert len(asserted) == len(autumn().closing)
    for line in re.findall(r"^2026-12-01 balance .+$", text, re.MULTILINE):
        _, errors, _ = loader.load_string(text.replace(line, off_by_one(line)))
        assert [type(error).__name__ for error in errors] == ["BalanceError"], line


def off_by_one(line: str) -> str:
    """Return an assertion's line with one minor unit more in its last amount that has the currency's decimals."""
    amount = re.findall(r"  (-?[0-9.]+) ", line)[-1] if "~" in line else re.findall(r"= (-?[0-9.]+) ", line)[-1]
    more = Decimal(amount) + Decimal(1).scaleb(Decimal(amount).as_tuple().exponent)
    return f"{more}".join(line.rsplit(amount, 1))


@pytest.mark.parametrize("tool", TOOLS)
def test_the_ledger_programs_find_a_closing_balance_that_is_off_by_one_minor_unit(tool):
    text = ledger_of(autumn(), venues=VENUES)
    lines = re.findall(r"^    .+ = .+$", text, re.MULTILINE)
    assert len(lines) == len(autumn().closing)
    assert run(tool, "balance", texts=[text]).returncode == 0
    for line in (lines[0], lines[len(lines) // 2], lines[-1]):
        assert run(tool, "balance", texts=[text.replace(line, off_by_one(line))]).returncode != 0, line


def test_beancount_keeps_what_people_wrote_as_text():
    entries, _, _ = loader.load_string(beancount_of(autumn(), venues=named('The "Corner" \\ Bar')))
    deposit = next(e for e in entries if isinstance(e, data.Transaction) and e.payee == "deposit")
    assert deposit.narration.startswith('Slip; 7 | "x" \\ [2026-99-99]')
    assert (deposit.meta["number"], deposit.meta["id"]) == (Decimal(9), str(UUID(int=9)))
    opens = {e.account: e.meta for e in entries if isinstance(e, data.Open)}
    assert "Assets:Evil" not in opens
    assert opens["Income:Play-Takings:Corner-Bar"]["venue"] == 'The "Corner" \\ Bar'
    assert opens["Income:Play-Takings:Corner-Bar"]["venue_id"] == CORNER


@pytest.mark.parametrize("write", [beancount_of, ledger_of])
def test_a_venues_new_name_changes_no_account_and_no_amount(write):
    before, after = (write(autumn(), venues=named(name)).splitlines() for name in ("Corner Bar", "Old Mill; type:Q"))
    changed = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert changed
    assert all(old.lstrip().startswith(("venue:", "; venue")) for old, _ in changed)


@pytest.mark.parametrize("tool", TOOLS)
def test_the_ledger_programs_read_nothing_into_a_venues_name(tool):
    text = ledger_of(autumn(), venues=named(NASTY, "a\n2026-11-02 * x\n    Evil  1 USD"))
    assert tool_balances(tool, text) == our_balances(autumn())


@pytest.mark.parametrize("tool", TOOLS)
def test_the_ledger_programs_keep_a_reference_whole_in_the_description(tool):
    arguments = {"ledger": ("register", "--register-format", "%(payee)\n"), "hledger": ("print", "-O", "csv")}[tool]
    told = run(tool, *arguments, texts=[ledger_of(autumn(), venues=VENUES)]).stdout.replace('""', '"')
    assert 'deposit Slip, 7 / "x" \\ [2026-99-99] date:2026-99 key:: 1+ (z) = @ {3} 2026-01-01 open' in told


OWN = {
    "cash_in_bags": "Assets:Bank:Bags",
    "bank": "Assets:Bank",
    "venue_loans": "Assets:Loans",
    "owed_to_venues": "Liabilities:Bars",
    "tax_payable": "Liabilities:Tax",
    "opening_equity": "Equity:Opening",
    "play_takings": "Income:Spielerlöse",
    "venue_share": "Expenses:Share-50",
    "write_offs": "Expenses:Lost",
}


@pytest.mark.parametrize("tool", PROGRAMS)
def test_the_operators_own_chart_balances_too_where_one_account_is_below_another(tool):
    if tool == "beancount":
        assert beancount_balances(beancount_of(autumn(), venues=VENUES, own_chart=OWN)) == our_balances(autumn(), OWN)
    else:
        assert tool_balances(tool, ledger_of(autumn(), venues=VENUES, own_chart=OWN)) == our_balances(autumn(), OWN)


@pytest.mark.parametrize("tool", TOOLS)
def test_the_ledger_programs_take_numbers_and_spaces_in_the_operators_own_names(tool):
    own = {**OWN, "bank": "K-02 Bank & Co.", "tax_payable": "Passiva:K-08 Umsatzsteuer/Müller's"}
    assert tool_balances(tool, ledger_of(autumn(), venues=VENUES, own_chart=own)) == our_balances(autumn(), own)


@pytest.mark.parametrize("write", [beancount_of, ledger_of])
def test_all_names_that_a_program_does_not_take_are_listed_at_once(write):
    with pytest.raises(DomainError) as caught:
        write(autumn(), venues=VENUES, own_chart={**OWN, "bank": "Assets:(Bank)", "tax_payable": "Liabilities::Tax"})
    assert [(f.code, f.found) for f in caught.value.faults] == [
        ("bad_account_name", "Assets:(Bank)"),
        ("bad_account_name", "Liabilities::Tax"),
    ]


def test_beancount_takes_names_below_its_five_roots_alone():
    with pytest.raises(DomainError, match="Assets or Liabilities or Equity or Income or Expenses"):
        beancount_of(autumn(), venues=VENUES, own_chart={**OWN, "bank": "K-02 Bank"})


@pytest.mark.parametrize("write", [beancount_of, ledger_of])
def test_a_missing_name_is_an_error_that_lists_all_that_are_missing(write):
    with pytest.raises(DomainError) as caught:
        write(autumn(), venues=VENUES, own_chart={"bank": "Assets:Bank"})
    assert {f.where for f in caught.value.faults} == set(OWN) - {"bank"}


@pytest.mark.parametrize("write", [beancount_of, ledger_of])
def test_the_same_export_twice_is_the_same_to_the_byte(write):
    assert write(autumn(), venues=VENUES).encode() == write(autumn(), venues=VENUES).encode()
    assert "\r" not in write(autumn(), venues=VENUES)


def test_the_two_languages_are_two_files():
    assert beancount_of(autumn(), venues=VENUES) != ledger_of(autumn(), venues=VENUES)
    assert not re.search(r"^\S+ open ", ledger_of(autumn(), venues=VENUES), re.MULTILINE)


@pytest.mark.parametrize("tool", PROGRAMS)
def test_an_empty_month_loads_too(tool):
    empty = extract([], NOVEMBER, opening="balances")
    if tool == "beancount":
        assert beancount_balances(beancount_of(empty, venues=VENUES)) == {}
    else:
        assert tool_balances(tool, ledger_of(empty, venues=VENUES)) == {}


minor = st.integers(min_value=1, max_value=10**12)
venues = st.sampled_from([CORNER, HARBOUR])
booked = st.tuples(
    st.just("collection"),
    st.dates(min_value=date(2026, 9, 1), max_value=date(2026, 12, 31)),
    st.sampled_from(["USD", "JPY", "KWD", "CLF"]),
    st.builds(collected, venues, minor, minor, minor, minor),
)


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(booked, max_size=6), st.text(max_size=20))
def test_any_journal_loads_in_beancount_and_balances(entries, reference):
    told = extract(journal(entries, reference), NOVEMBER, opening="balances")
    assert beancount_balances(beancount_of(told, venues=VENUES)) == our_balances(told)


@pytest.mark.parametrize("tool", TOOLS)
@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(booked, max_size=6), st.text(max_size=20))
def test_any_journal_loads_in_the_ledger_programs_and_balances(tool, entries, reference):
    told = extract(journal(entries, reference), NOVEMBER, opening="balances")
    assert tool_balances(tool, ledger_of(told, venues=VENUES)) == our_balances(told)


def year_and_a_half():
    """Entries of six months around a new year, in two currencies; one venue begins in December."""
    booked = [
        ("opening", date(2026, 9, 30), "USD", owner_postings(kind="opening", amount_minor=100000)),
        ("collection", date(2026, 10, 2), "USD", collected(CORNER, 10001, 385, 4808, 4808)),
        ("collection", date(2026, 10, 9), "JPY", collected(HARBOUR, 1500, 0, 750, 0)),
        ("collection", date(2026, 11, 2), "USD", collected(CORNER, 7003, 270, 3366, 1000)),
        (
            "venue_payment",
            date(2026, 12, 1),
            "USD",
            owner_postings(kind="venue_payment", amount_minor=9, venue_id=CORNER),
        ),
        ("collection", date(2026, 12, 31), "USD", collected(HARBOUR, 4000, 0, 2000, 2000)),
        ("collection", date(2027, 1, 5), "USD", collected(CORNER, 5000, 192, 2404, 0)),
        ("licence_payment", date(2027, 2, 1), "USD", owner_postings(kind="licence_payment", amount_minor=6000)),
    ]
    return journal(booked)


MONTHS = [
    ExportPeriod.of_month(2026, 10),
    ExportPeriod.of_month(2026, 11),
    ExportPeriod.of_month(2026, 12),
    ExportPeriod.of_month(2027, 1),
]


@pytest.mark.parametrize("close", [None, "year"])
@pytest.mark.parametrize("program", PROGRAMS)
def test_months_loaded_one_after_the_other_count_each_amount_once(program, close):
    write = beancount_of if program == "beancount" else ledger_of
    months = [
        extract(year_and_a_half(), month, opening="balances" if month == MONTHS[0] else "none", close=close)
        for month in MONTHS
    ]
    texts = [write(month, venues=VENUES) for month in months]
    for loaded in range(1, len(texts) + 1):
        assert program_balances(program, *texts[:loaded]) == our_balances(months[loaded - 1])


@pytest.mark.parametrize("program", PROGRAMS)
def test_a_month_that_was_left_out_is_found_when_the_files_are_loaded(program):
    write = beancount_of if program == "beancount" else ledger_of
    texts = [
        write(extract(year_and_a_half(), month, opening="balances" if month == MONTHS[0] else "none"), venues=VENUES)
        for month in (MONTHS[0], MONTHS[2])
    ]
    if program == "beancount":
        assert {type(error).__name__ for error in beancount_errors(*texts)} == {"BalanceError"}
    else:
        ran = run(program, "balance", texts=texts)
        assert ran.returncode != 0
        assert "assertion" in ran.stderr.lower()


def test_a_year_is_closed_on_its_last_day_and_nothing_of_it_is_income_afterwards():
    told = extract(year_and_a_half(), ExportPeriod.of_year(2026), opening="none", close="year")
    closing = {(leaf.account, currency): 0 for leaf, currency, _ in told.closing}
    for leaf, currency, amount in told.closing:
        closing[leaf.account, currency] += amount
    assert closing["play_takings", "USD"] == closing["venue_share", "USD"] == 0
    takings, shares = 10001 - 385 + 7003 - 270 + 4000, 4808 + 3366 + 2000
    assert closing["retained_earnings", "USD"] == -(takings - shares)
    assert closing["retained_earnings", "JPY"] == -750
    closings = [transaction for transaction in told.transactions if transaction.kind == "year_closing"]
    assert [(c.on, c.currency, sum(amount for _, amount in c.amounts)) for c in closings] == [
        (date(2026, 12, 31), "JPY", 0),
        (date(2026, 12, 31), "USD", 0),
    ]
    before = extract(
        year_and_a_half(), ExportPeriod(date(2026, 1, 1), date(2026, 12, 30)), opening="none", close="year"
    )
    assert not any(transaction.kind == "year_closing" for transaction in before.transactions)
    february = extract(year_and_a_half(), ExportPeriod.of_month(2027, 2), opening="balances", close="year")
    opened = {leaf.account: amount for leaf, amount in list(february.transactions)[-2].amounts}
    assert (opened["retained_earnings"], opened["play_takings"]) == (-(takings - shares), -(5000 - 192))


def test_one_currency_is_a_file_of_its_own():
    told = extract(year_and_a_half(), ExportPeriod.of_year(2026), opening="none", currency="JPY")
    assert {transaction.currency for transaction in told.transactions} == {"JPY"}
    assert told.currencies == ["JPY"]
    assert beancount_balances(beancount_of(told, venues=VENUES)) == our_balances(told)


@pytest.mark.parametrize("write", [beancount_of, ledger_of])
def test_a_transaction_without_a_reference_is_described_by_its_kind_and_venue(write):
    booked = [
        ("opening", date(2026, 10, 1), "USD", owner_postings(kind="opening", amount_minor=100)),
        (
            "venue_payment",
            date(2026, 11, 3),
            "USD",
            owner_postings(kind="venue_payment", amount_minor=9, venue_id=CORNER),
        ),
    ]
    text = write(extract(journal(booked, reference=" "), NOVEMBER, opening="balances", close="year"), venues=VENUES)
    assert "Opening balances" in text
    assert "Payment to the venue, Corner Bar" in text


def test_two_venues_with_one_name_in_accounts_are_refused():
    twins = {CORNER: VenueName("Corner Bar", "Corner"), HARBOUR: VenueName("Corner Pub", "Corner")}
    leaves = [Leaf("owed_to_venues", CORNER), Leaf("owed_to_venues", HARBOUR)]
    with pytest.raises(DomainError) as caught:
        account_names(leaves, twins)
    assert [fault.code for fault in caught.value.faults] == ["account_name_collision"]
