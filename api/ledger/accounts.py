"""The chart of accounts of this trade: the code, kind and purpose of each account, and whether each venue has its own.

- Debit is positive, credit negative: assets and expenses are above zero, liabilities, income and equity below.
- An account kept per venue has one leaf for each venue: ``owed_to_venues:<venue id>`` is the amount payable to it.
- No account is ever removed or renamed: entries that were posted to it stay (L1).
- ``retained_earnings`` exists in exports only: a closed year's income and expense go there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

AccountKind = Literal["asset", "liability", "equity", "income", "expense"]

PerVenue = Literal["always", "never", "either"]


@dataclass(frozen=True, slots=True)
class Account:
    """One account: its code in entries, its kind, whether it is kept per venue, and what it holds."""

    code: str
    kind: AccountKind
    per_venue: PerVenue
    holds: str


_CHART: tuple[tuple[str, AccountKind, PerVenue, str], ...] = (
    ("cash_in_bags", "asset", "never", "coins and notes from the boxes, not yet banked"),
    ("bank", "asset", "never", "money in the bank"),
    ("venue_loans", "asset", "always", "loans that the venue has not yet repaid"),
    ("owed_to_venues", "liability", "always", "payable to the venue"),
    ("tax_payable", "liability", "never", "tax taken out of the takings, not yet remitted"),
    ("opening_equity", "equity", "never", "the other side of opening balances, entered when the books begin"),
    ("retained_earnings", "equity", "never", "income less expense of closed years"),
    ("test_money", "equity", "always", "the operator's own coins, put in for test plays and taken out again"),
    ("play_takings", "income", "always", "counted cash less returns, tax and first money"),
    (
        "first_money",
        "income",
        "always",
        "money the operator takes before the split: reimbursements, charges, the minimum",
    ),
    ("venue_share", "expense", "always", "the venue's part of the split, before its loan repayment"),
    ("licences_paid", "expense", "either", "licences and permits of tables"),
    ("write_offs", "expense", "either", "loans and cash shortages written off"),
    ("parts", "expense", "either", "parts of tables"),
    ("cloth", "expense", "either", "cloth, and laying it"),
    ("repairs", "expense", "either", "work that others did on tables"),
    ("fuel", "expense", "either", "fuel and travel"),
    ("wages", "expense", "either", "wages"),
    ("other_expenses", "expense", "either", "any other expense of the route"),
    ("tables_sold", "income", "either", "what tables were sold for"),
)


ACCOUNTS: dict[str, Account] = {row[0]: Account(*row) for row in _CHART}
"""Every account by its code, in the order in which answers list them."""
