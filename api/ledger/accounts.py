"""The chart of accounts of this trade: what each account holds, on which side it stands, and whether venues have their own.

- Debit is positive, credit negative: assets and expenses stand above zero, liabilities, income and equity below.
- An account kept per venue has one leaf for each: ``owed_to_venues:<venue id>`` is what that venue is owed.
- No account is ever removed or renamed: entries that were posted to it stay (L1).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Root = Literal["Assets", "Liabilities", "Equity", "Income", "Expenses"]

PerVenue = Literal["always", "never", "either"]


@dataclass(frozen=True, slots=True)
class Account:
    """One account: its code in entries, its root, whether it is kept per venue, and what it holds."""

    code: str
    root: Root
    per_venue: PerVenue
    holds: str


_CHART: tuple[tuple[str, Root, PerVenue, str], ...] = (
    ("cash_in_bags", "Assets", "never", "coins and notes out of the boxes, not banked yet"),
    ("bank", "Assets", "never", "money in the bank"),
    ("venue_loans", "Assets", "always", "what a venue still owes of money lent to it"),
    ("owed_to_venues", "Liabilities", "always", "what a venue is still to be given"),
    ("tax_payable", "Liabilities", "never", "tax taken out of the takings, not handed over yet"),
    ("opening_equity", "Equity", "never", "the other side of balances brought in when the books begin"),
    ("test_money", "Equity", "always", "the operator's own coins, put in for test plays and found again"),
    ("play_takings", "Income", "always", "what was counted, less what is returned, tax and first money"),
    (
        "first_money",
        "Income",
        "always",
        "what the operator takes before the split: reimbursements, charges, his minimum",
    ),
    ("venue_share", "Expenses", "always", "the venue's part of the split, before its loan"),
    ("licences_paid", "Expenses", "either", "licences and permits of tables"),
    ("write_offs", "Expenses", "either", "loans that will not come back, cash that is gone"),
)


ACCOUNTS: dict[str, Account] = {row[0]: Account(*row) for row in _CHART}
"""Every account by its code, in the order in which answers list them."""
