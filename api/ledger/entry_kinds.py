"""What each kind of entry posts: one table of transfers, each from the account credited to the account debited.

- A kind's postings are the sum of its transfers per account and side, so that they always balance (L1).
- Takings are what was counted; the difference from what was expected is reported, never booked (L2).
- All that a venue is given or repays goes through what it is owed: ``owed_to_venues`` of a venue is its statement.
- A reversal has no rows here: it is the mirror image of what it takes back.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..pricing.errors import domain_error
from .accounts import ACCOUNTS
from .posting import Posting


@dataclass(frozen=True, slots=True)
class Transfer:
    """One row: in an entry of this kind, of a venue or not, ``amount`` goes from ``credit`` to ``debit``."""

    kind: str
    of_venue: bool
    debit: str
    credit: str
    amount: str


# fmt: off
TRANSFERS: tuple[Transfer, ...] = tuple(Transfer(*row) for row in (
    # kind             of a venue  debit             credit            amount
    ("collection",      True,      "cash_in_bags",   "play_takings",   "takings"),
    ("collection",      True,      "cash_in_bags",   "first_money",    "first_money"),
    ("collection",      True,      "cash_in_bags",   "tax_payable",    "tax"),
    ("collection",      True,      "cash_in_bags",   "test_money",     "test_money"),
    ("collection",      True,      "cash_in_bags",   "owed_to_venues", "returned"),
    ("collection",      True,      "venue_share",    "owed_to_venues", "venue_share"),
    ("collection",      True,      "owed_to_venues", "venue_loans",    "loan_repaid"),
    ("collection",      True,      "owed_to_venues", "cash_in_bags",   "returned"),
    ("collection",      True,      "owed_to_venues", "cash_in_bags",   "to_venue_now"),
    ("deposit",         False,     "bank",           "cash_in_bags",   "amount"),
    ("venue_payment",   True,      "owed_to_venues", "bank",           "amount"),
    ("tax_payment",     False,     "tax_payable",    "bank",           "amount"),
    ("licence_payment", False,     "licences_paid",  "bank",           "amount"),
    ("licence_payment", True,      "licences_paid",  "bank",           "amount"),
    ("expense",         False,     "parts",          "bank",           "amount"),
    ("expense",         True,      "parts",          "bank",           "amount"),
    ("expense",         False,     "cloth",          "bank",           "amount"),
    ("expense",         True,      "cloth",          "bank",           "amount"),
    ("expense",         False,     "repairs",        "bank",           "amount"),
    ("expense",         True,      "repairs",        "bank",           "amount"),
    ("expense",         False,     "fuel",           "bank",           "amount"),
    ("expense",         True,      "fuel",           "bank",           "amount"),
    ("expense",         False,     "wages",          "bank",           "amount"),
    ("expense",         True,      "wages",          "bank",           "amount"),
    ("expense",         False,     "other_expenses", "bank",           "amount"),
    ("expense",         True,      "other_expenses", "bank",           "amount"),
    ("table_sale",      False,     "bank",           "tables_sold",    "amount"),
    ("table_sale",      True,      "bank",           "tables_sold",    "amount"),
    ("loan_advance",    True,      "venue_loans",    "bank",           "amount"),
    ("write_off",       True,      "write_offs",     "venue_loans",    "amount"),
    ("write_off",       False,     "write_offs",     "cash_in_bags",   "amount"),
    ("opening",         False,     "bank",           "opening_equity", "amount"),
    ("opening",         False,     "cash_in_bags",   "opening_equity", "amount"),
    ("opening",         False,     "opening_equity", "tax_payable",    "amount"),
    ("opening",         True,      "opening_equity", "owed_to_venues", "amount"),
    ("opening",         True,      "venue_loans",    "opening_equity", "amount"),
))


OWNER_KINDS = tuple(dict.fromkeys(row.kind for row in TRANSFERS if row.kind != "collection"))
"""The kinds that an owner posts by name and amount."""


EXPENSES = {
    "parts": "parts",
    "cloth": "cloth",
    "repairs": "repairs",
    "fuel": "fuel",
    "wages": "wages",
    "other": "other_expenses",
}
"""What an expense may be for, and the account that it is posted to; a licence has a kind of its own."""


EXPENSE_NAMES = tuple(EXPENSES)
"""What an expense may be for."""


OF_A_TABLE = ("expense", "licence_payment", "table_sale")
"""The kinds that may name a table."""


ENTRY_KINDS = ("collection", "reversal", *OWNER_KINDS)
"""Every kind of entry."""


def collection_postings(
    *,
    venue_id: str,
    counted_minor: int,
    venue_share_minor: int,
    to_venue_now_minor: int,
    to_venue_balance_minor: int,
    returned_to_venue_minor: int = 0,
    test_money_minor: int = 0,
    tax_minor: int = 0,
    first_money_minor: int = 0,
    loan_repaid_minor: int = 0,
) -> tuple[Posting, ...]:
    """Return what a settled collection posts, in minor units of the venue's currency; nothing where all is zero.

    ``counted`` is all that was in the boxes; ``returned_to_venue`` the refunds that it paid and its house money, handed
    back at the visit; ``first_money`` all that the operator takes before the split, less what a correction gives back
    (C5), so that it may be below zero. The venue's share has three parts: share = repaid + now + balance, else
    ``settlement_does_not_add_up``. What was counted, returned or handed over is never below zero (``negative_amount``).
    """
    for name, amount in (
        ("counted", counted_minor),
        ("returned_to_venue", returned_to_venue_minor),
        ("to_venue_now", to_venue_now_minor),
    ):
        if amount < 0:
            raise domain_error("negative_amount", where=name, found=amount, expected="0 or more")
    balance = venue_share_minor - loan_repaid_minor - to_venue_now_minor
    if balance != to_venue_balance_minor:
        found, expected = to_venue_balance_minor, f"{balance} minor units: share − repaid − now"
        raise domain_error("settlement_does_not_add_up", where="to_venue_balance", found=found, expected=expected)
    amounts = {
        "takings": counted_minor - returned_to_venue_minor - test_money_minor - tax_minor - first_money_minor,
        "first_money": first_money_minor,
        "tax": tax_minor,
        "test_money": test_money_minor,
        "returned": returned_to_venue_minor,
        "venue_share": venue_share_minor,
        "loan_repaid": loan_repaid_minor,
        "to_venue_now": to_venue_now_minor,
    }
    return _postings([row for row in TRANSFERS if row.kind == "collection"], amounts, venue_id)


def owner_postings(
    *, kind: str, amount_minor: int, venue_id: str | None = None, account: str | None = None
) -> tuple[Posting, ...]:
    """Return what an entry of an owner's kind posts: the row of that kind with a venue, or without one.

    ``amount_minor`` is above zero. ``account`` picks among several rows (an opening of ``venue_loans`` or of
    ``cash_in_bags``); without it the first holds: what a venue is owed, or the bank. Refuses ``unknown_kind``,
    ``amount_not_positive``, ``venue_needed``, ``venue_not_wanted``, ``account_not_of_kind``.
    """
    if kind not in OWNER_KINDS:
        raise domain_error("unknown_kind", where="kind", found=repr(kind), expected=f"one of {', '.join(OWNER_KINDS)}")
    if amount_minor <= 0:
        raise domain_error("amount_not_positive", where="amount", found=amount_minor, expected="more than 0")
    fitting = [row for row in TRANSFERS if row.kind == kind and row.of_venue == (venue_id is not None)]
    if not fitting and venue_id is None:
        raise domain_error("venue_needed", where="venue_id", found="none", expected=f"the venue of the {kind}")
    if not fitting:
        raise domain_error("venue_not_wanted", where="venue_id", found=venue_id, expected=f"none in a {kind}")
    chosen = [row for row in fitting if account is None or account in (row.debit, row.credit)]
    if not chosen:
        expected = ", ".join(dict.fromkeys(name for row in fitting for name in (row.debit, row.credit)))
        raise domain_error("account_not_of_kind", where="account", found=repr(account), expected=f"one of {expected}")
    return _postings(chosen[:1], {"amount": amount_minor}, venue_id)


def account_for(*, kind: str, what: str | None, account: str | None, of_table: bool) -> str | None:
    """Return the account that picks an owner's entry: for an expense that of ``what`` it was for, else ``account``.

    Refuses (``invalid``) an expense that does not say what for, ``what`` or a table of any kind that has none, and
    ``account`` beside ``what``.
    """
    if of_table and kind not in OF_A_TABLE:
        raise domain_error("invalid", where="table_id", found=f"a table in a {kind}", expected="none")
    if kind != "expense":
        if what is not None:
            raise domain_error("invalid", where="what", found=what, expected=f"nothing in a {kind}")
        return account
    if what not in EXPENSES:
        raise domain_error("invalid", where="what", found=what or "nothing", expected=f"one of {', '.join(EXPENSES)}")
    if account is not None:
        raise domain_error("invalid", where="account", found=account, expected="no account beside what")
    return EXPENSES[what]


def _postings(rows: list[Transfer], amounts: Mapping[str, int], venue_id: str | None) -> tuple[Posting, ...]:
    """Sum the transfers per account and side; debits first, each side in the order of the chart, zeros left out."""
    debits, credits = dict.fromkeys(ACCOUNTS, 0), dict.fromkeys(ACCOUNTS, 0)
    for row in rows:
        debits[row.debit] += amounts[row.amount]
        credits[row.credit] -= amounts[row.amount]
    return tuple(
        Posting(account, None if ACCOUNTS[account].per_venue == "never" else venue_id, amount)
        for account, amount in (*debits.items(), *credits.items())
        if amount
    )
