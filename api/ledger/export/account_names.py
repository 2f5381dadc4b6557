"""The parts that every export shares: names of accounts, venues' names, descriptions, and text on a single line.

- A venue's leaf carries the venue's name in the books, given when the venue was made and never changed: a venue that
  is renamed keeps its accounts, so that months exported before and after fit together.
- Plain-text exports have names of their own (``Liabilities:Owed-To-Venues:Corner-Bar``), a CSV the account's code
  (``owed_to_venues:Corner-Bar``).
- With the operator's own chart, a leaf takes the name given for itself (``owed_to_venues:<venue id>``), else the one
  given for its account (``owed_to_venues``); all accounts without a name are refused together (L5).
- No description is empty: without a reference it names the kind of entry and the venue.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from ...pricing.errors import DomainError, Fault, domain_error
from ...web.csv_text import one_line
from ..accounts import ACCOUNTS, AccountKind
from ..posting import Leaf
from .period import Extract, Transaction

Names = dict[Leaf, str]


@dataclass(frozen=True, slots=True)
class VenueName:
    """A venue's name today, and the part that stands for it in names of accounts: letters, digits and hyphens."""

    name: str
    in_accounts: str


VenueNames = Mapping[str, VenueName]
"""Venues' names by id."""

ROOTS: dict[AccountKind, str] = {
    "asset": "Assets",
    "liability": "Liabilities",
    "equity": "Equity",
    "income": "Income",
    "expense": "Expenses",
}
"""The root of an account's name in plain text, by the account's kind."""

_KINDS = {
    "collection": "Collection",
    "reversal": "Reversal",
    "deposit": "Deposit at the bank",
    "venue_payment": "Payment to the venue",
    "tax_payment": "Tax remitted",
    "licence_payment": "Licence paid",
    "expense": "Expense",
    "table_sale": "Table sold",
    "loan_advance": "Loan to the venue",
    "write_off": "Write-off",
    "opening": "Opening balance",
    "opening_balances": "Opening balances",
    "year_closing": "Year closed: income and expense to equity",
}


def account_codes(leaves: Iterable[Leaf], venues: VenueNames, own_chart: Mapping[str, str] | None = None) -> Names:
    """Return each leaf's name in a CSV: its code with its venue's name, or by ``own_chart`` the operator's."""
    if own_chart is not None:
        return _mapped(leaves, own_chart)
    return _distinct({leaf: ":".join((leaf.account, *_venue_part(leaf, venues))) for leaf in leaves})


def account_names(leaves: Iterable[Leaf], venues: VenueNames, own_chart: Mapping[str, str] | None = None) -> Names:
    """Return each leaf's name in plain text: ours, or by ``own_chart`` (code to name) the operator's.

    Refuses all the accounts that ``own_chart`` leaves out (``account_not_mapped``, each named by its code), and two
    venues with the same name in accounts (``account_name_collision``).
    """
    if own_chart is not None:
        return _mapped(leaves, own_chart)
    return _distinct({leaf: _plain_name(leaf, venues) for leaf in leaves})


def refuse_names(names: Names, takes: Callable[[str], bool], *, expected: str) -> None:
    """Refuse together all names that a program does not take (``bad_account_name``)."""
    wrong = [name for name in dict.fromkeys(names.values()) if not takes(name)]
    if wrong:
        raise DomainError(*(Fault("bad_account_name", "account_names", name, expected) for name in wrong))


def closing_by_name(extract: Extract, names: Names) -> dict[tuple[str, str], int]:
    """Return the closing balances by name and currency: several leaves may share a name of the operator's."""
    sums: dict[tuple[str, str], int] = {}
    for leaf, currency, amount in extract.closing:
        sums[names[leaf], currency] = sums.get((names[leaf], currency), 0) + amount
    return sums


def description(transaction: Transaction, venues: VenueNames) -> str:
    """Return a transaction's description on one line: its reference, or its kind and venue. It is never empty."""
    kind = _KINDS.get(transaction.kind, transaction.kind)
    venue = venues.get(transaction.venue_id or "")
    return one_line(transaction.reference) or one_line(kind if venue is None else f"{kind}, {venue.name}")


def _plain_name(leaf: Leaf, venues: VenueNames) -> str:
    account = ACCOUNTS[leaf.account]
    slug = "-".join(word.capitalize() for word in leaf.account.split("_"))
    general = ("General",) if account.per_venue == "either" else ()
    return ":".join((ROOTS[account.kind], slug, *(_venue_part(leaf, venues) or general)))


def _venue_part(leaf: Leaf, venues: VenueNames) -> tuple[str, ...]:
    return () if leaf.venue_id is None else (venues[leaf.venue_id].in_accounts,)


def _distinct(names: Names) -> Names:
    by_name: dict[str, Leaf] = {}
    for leaf, name in names.items():
        twin = by_name.setdefault(name, leaf)
        if twin != leaf:
            expected = "venues with different names in accounts, or account names of your own"
            raise domain_error(
                "account_name_collision", where=leaf.code, found=f"{name}, also {twin.code}", expected=expected
            )
    return names


def _mapped(leaves: Iterable[Leaf], own_chart: Mapping[str, str]) -> Names:
    names = {leaf: one_line(own_chart.get(leaf.code) or own_chart.get(leaf.account, "")) for leaf in leaves}
    missing = dict.fromkeys(leaf.account for leaf, name in names.items() if not name)
    if missing:
        expected = "a name in your own chart of accounts"
        raise DomainError(*(Fault("account_not_mapped", code, "no name", expected) for code in missing))
    return names
