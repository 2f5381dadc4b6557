"""What each kind of entry posts, and what an entry must be to exist (L1, L2)."""

from datetime import UTC, date, datetime
from uuid import UUID

import pytest
from baizebook.ledger.accounts import ACCOUNTS
from baizebook.ledger.entry import Entry
from baizebook.ledger.entry_kinds import ENTRY_KINDS, OWNER_KINDS, TRANSFERS, collection_postings, owner_postings
from baizebook.ledger.posting import Posting, mirror
from baizebook.pricing.errors import DomainError
from hypothesis import given
from hypothesis import strategies as st

from tests.ledger.conftest import sums_of_postings

CORNER = "0198c0de-0000-7000-8000-00000000c0de"
HARBOUR = "0198c0de-0000-7000-8000-0000000ba405"
MONDAY = date(2026, 11, 2)
MORNING = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)


def entry(postings: tuple[Posting, ...], **changes: object) -> Entry:
    values = {"id": str(UUID(int=1)), "number": 1, "kind": "deposit", "on": MONDAY, "recorded_at": MORNING}
    return Entry(**{**values, "currency": "USD", "postings": postings, **changes})


def plain(postings: tuple[Posting, ...]) -> list[tuple[str, str | None, int]]:
    return [(posting.account, posting.venue_id, posting.amount_minor) for posting in postings]


def test_a_box_of_311_with_everything_in_it_is_booked_to_the_cent():
    postings = collection_postings(
        venue_id=CORNER,
        counted_minor=31100,
        returned_to_venue_minor=1000,
        test_money_minor=100,
        tax_minor=1154,
        first_money_minor=6000,
        venue_share_minor=11423,
        loan_repaid_minor=2856,
        to_venue_now_minor=8567,
        to_venue_balance_minor=0,
    )
    assert plain(postings) == [
        ("cash_in_bags", None, 31100),
        ("owed_to_venues", CORNER, 12423),
        ("venue_share", CORNER, 11423),
        ("cash_in_bags", None, -9567),
        ("venue_loans", CORNER, -2856),
        ("owed_to_venues", CORNER, -12423),
        ("tax_payable", None, -1154),
        ("test_money", CORNER, -100),
        ("play_takings", CORNER, -22846),
        ("first_money", CORNER, -6000),
    ]


def test_a_share_paid_monthly_stays_owed_to_the_venue():
    postings = collection_postings(
        venue_id=CORNER,
        counted_minor=10000,
        venue_share_minor=5000,
        to_venue_now_minor=0,
        to_venue_balance_minor=5000,
    )
    assert plain(postings) == [
        ("cash_in_bags", None, 10000),
        ("venue_share", CORNER, 5000),
        ("owed_to_venues", CORNER, -5000),
        ("play_takings", CORNER, -10000),
    ]


def test_an_empty_box_posts_nothing():
    nothing = {"counted_minor": 0, "venue_share_minor": 0, "to_venue_now_minor": 0, "to_venue_balance_minor": 0}
    assert collection_postings(venue_id=CORNER, **nothing) == ()


def test_a_box_with_house_money_alone_books_that_it_went_back():
    postings = collection_postings(
        venue_id=CORNER,
        counted_minor=600,
        returned_to_venue_minor=600,
        venue_share_minor=0,
        to_venue_now_minor=0,
        to_venue_balance_minor=0,
    )
    assert [amount for account, _, amount in plain(postings) if account == "cash_in_bags"] == [600, -600]
    assert sum(amount for _, _, amount in plain(postings)) == 0


def test_a_correction_may_take_first_money_back():
    postings = collection_postings(
        venue_id=CORNER,
        counted_minor=10000,
        first_money_minor=-1000,
        venue_share_minor=5500,
        to_venue_now_minor=5500,
        to_venue_balance_minor=0,
    )
    assert ("first_money", CORNER, 1000) in plain(postings)
    assert ("play_takings", CORNER, -11000) in plain(postings)


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"to_venue_balance_minor": 1}, "settlement_does_not_add_up"),
        ({"loan_repaid_minor": 1}, "settlement_does_not_add_up"),
        ({"counted_minor": -1}, "negative_amount"),
        ({"returned_to_venue_minor": -1}, "negative_amount"),
        ({"to_venue_now_minor": -1, "to_venue_balance_minor": 5001}, "negative_amount"),
        ({"venue_id": "corner"}, "bad_id"),
    ],
)
def test_a_settlement_that_does_not_add_up_is_not_booked(changed, code):
    settled = {"venue_id": CORNER, "counted_minor": 10000, "venue_share_minor": 5000, "to_venue_now_minor": 5000}
    with pytest.raises(DomainError) as caught:
        collection_postings(**{**settled, "to_venue_balance_minor": 0, **changed})
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("kind", "venue_id", "account", "debit", "credit"),
    [
        ("deposit", None, None, "bank", "cash_in_bags"),
        ("venue_payment", CORNER, None, "owed_to_venues", "bank"),
        ("tax_payment", None, None, "tax_payable", "bank"),
        ("licence_payment", None, None, "licences_paid", "bank"),
        ("licence_payment", CORNER, None, "licences_paid", "bank"),
        ("loan_advance", CORNER, None, "venue_loans", "bank"),
        ("write_off", CORNER, None, "write_offs", "venue_loans"),
        ("write_off", None, None, "write_offs", "cash_in_bags"),
        ("opening", None, None, "bank", "opening_equity"),
        ("opening", None, "cash_in_bags", "cash_in_bags", "opening_equity"),
        ("opening", None, "tax_payable", "opening_equity", "tax_payable"),
        ("opening", CORNER, None, "opening_equity", "owed_to_venues"),
        ("opening", CORNER, "venue_loans", "venue_loans", "opening_equity"),
    ],
)
def test_what_an_owner_posts_goes_from_one_account_to_another(kind, venue_id, account, debit, credit):
    debited, credited = owner_postings(kind=kind, amount_minor=2500, venue_id=venue_id, account=account)
    assert (debited.account, debited.amount_minor) == (debit, 2500)
    assert (credited.account, credited.amount_minor) == (credit, -2500)
    assert {debited.venue_id, credited.venue_id} - {None} == ({venue_id} - {None})


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ({"kind": "deposit", "amount_minor": 0}, "amount_not_positive"),
        ({"kind": "deposit", "amount_minor": -5}, "amount_not_positive"),
        ({"kind": "deposit", "amount_minor": 5, "venue_id": CORNER}, "venue_not_wanted"),
        ({"kind": "venue_payment", "amount_minor": 5}, "venue_needed"),
        ({"kind": "collection", "amount_minor": 5}, "unknown_kind"),
        ({"kind": "reversal", "amount_minor": 5}, "unknown_kind"),
        ({"kind": "gift", "amount_minor": 5}, "unknown_kind"),
        ({"kind": "opening", "amount_minor": 5, "account": "play_takings"}, "account_not_of_kind"),
        ({"kind": "deposit", "amount_minor": 10**15 + 1}, "amount_too_large"),
    ],
)
def test_what_no_owner_can_post_is_refused(asked, code):
    with pytest.raises(DomainError) as caught:
        owner_postings(**asked)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("account", "venue_id", "amount", "code"),
    [
        ("petty_cash", None, 5, "unknown_account"),
        ("owed_to_venues", None, 5, "venue_needed"),
        ("bank", CORNER, 5, "venue_not_wanted"),
        ("owed_to_venues", CORNER.upper(), 5, "bad_id"),
        ("bank", None, 0, "zero_posting"),
    ],
)
def test_a_posting_that_means_nothing_does_not_exist(account, venue_id, amount, code):
    with pytest.raises(DomainError) as caught:
        Posting(account, venue_id, amount)
    assert caught.value.code == code


def test_an_entry_names_all_its_mistakes_at_once():
    lone = (Posting("owed_to_venues", CORNER, 5), Posting("owed_to_venues", HARBOUR, 6))
    with pytest.raises(DomainError) as caught:
        entry(lone, kind="gift", id="one", number=0, recorded_at=datetime(2026, 11, 2), hash="x", reference="x" * 501)  # noqa: DTZ001
    assert [fault.code for fault in caught.value.faults] == [
        "unknown_kind",
        "bad_id",
        "bad_number",
        "naive_instant",
        "reference_too_long",
        "bad_hash",
        "unbalanced_entry",
        "several_venues",
    ]


def test_a_single_posting_is_no_entry():
    with pytest.raises(DomainError) as caught:
        entry((Posting("bank", None, 5),))
    assert [fault.code for fault in caught.value.faults] == ["too_few_postings", "unbalanced_entry"]


def test_an_entry_in_no_known_currency_is_refused():
    with pytest.raises(DomainError, match="ISO 4217"):
        entry(owner_postings(kind="deposit", amount_minor=5), currency="ZZZ")


def test_every_row_of_the_table_moves_money_between_accounts_of_the_chart():
    assert {row.debit for row in TRANSFERS} | {row.credit for row in TRANSFERS} == set(ACCOUNTS) - {"retained_earnings"}
    assert all(row.debit != row.credit for row in TRANSFERS)
    assert set(ENTRY_KINDS) == {"collection", "reversal", *OWNER_KINDS}


cents = st.integers(min_value=0, max_value=10**9)


@st.composite
def settled(draw):
    share, repaid, now = draw(cents), draw(cents), draw(cents)
    return collection_postings(
        venue_id=draw(st.sampled_from([CORNER, HARBOUR])),
        counted_minor=draw(cents),
        returned_to_venue_minor=draw(cents),
        test_money_minor=draw(cents),
        tax_minor=draw(cents),
        first_money_minor=draw(cents),
        venue_share_minor=share,
        loan_repaid_minor=repaid,
        to_venue_now_minor=now,
        to_venue_balance_minor=share - repaid - now,
    )


@given(settled())
def test_every_collection_balances(postings):
    assert sum(posting.amount_minor for posting in postings) == 0
    assert len(postings) != 1


@given(settled().filter(bool))
def test_a_reversal_brings_all_balances_back(postings):
    taken_back = sums_of_postings(
        [entry(postings, kind="collection"), entry(mirror(postings), kind="reversal", number=2)]
    )
    assert set(taken_back.values()) == {0}
    assert mirror(mirror(postings)) == postings
