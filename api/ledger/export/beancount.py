"""The journal as a file that beancount loads (its language reference, version 3), on its own and without errors (L5).

- Every account is opened on the first day; opening balances are one transaction for each currency on that day.
- Amounts have the currency's full decimals. beancount lets half a minor unit pass, and a whole one in an assertion:
  the closing ``balance`` assertions say a tolerance of 0. They stand on the day after the last, which beancount
  checks at its start, and count an account's sub-accounts in, as beancount does.
- The same extract gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import timedelta

from ...pricing.money import format_money
from ..posting import Leaf
from .account_names import Names, account_names, closing_by_name, one_line, refuse_names
from .period import Extract, Transaction

_ROOTS = ("Assets", "Liabilities", "Equity", "Income", "Expenses")


def journal_beancount(
    extract: Extract, *, own_chart: Mapping[str, str] | None = None, venue_names: Mapping[str, str] | None = None
) -> str:
    """Return the extract in beancount's language; ``venue_names`` (by id) are shown, never used as accounts' names.

    Refuses what names refuse, and all the operator's own names that beancount does not take (``bad_account_name``).
    """
    names = account_names(extract.leaves, own_chart)
    expected = f"{' or '.join(_ROOTS)}, then parts of letters, digits and hyphens: Assets:Bank"
    refuse_names(names, _takes, expected=expected)
    return "\n".join(
        (
            f'option "title" "Journal from {extract.period.from_on} to {extract.period.to_on}"',
            *(f'option "operating_currency" "{currency}"' for currency in extract.currencies),
            "",
            *_opens(extract, names, venue_names or {}),
            *(line for transaction in extract.transactions for line in _transaction(transaction, names)),
            "",
            *_assertions(extract, names),
            "",
        )
    )


def _takes(name: str) -> bool:
    root, *parts = name.split(":")
    return root in _ROOTS and bool(parts) and all(_takes_part(part) for part in parts)


def _takes_part(part: str) -> bool:
    starts = part[:1].isupper() or part[:1].isdecimal()
    return starts and all(sign.isalpha() or sign.isdecimal() or sign == "-" for sign in part)


def _quoted(text: str) -> str:
    escaped = one_line(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _opens(extract: Extract, names: Names, venue_names: Mapping[str, str]) -> Iterator[str]:
    holders: dict[str, list[Leaf]] = {}
    for leaf, name in names.items():
        holders.setdefault(name, []).append(leaf)
    for name, leaves in holders.items():
        yield f"{extract.period.from_on} open {name}"
        venue_id = leaves[0].venue_id if len(leaves) == 1 else None
        if venue_id:
            yield f"  venue_id: {_quoted(venue_id)}"
        if venue_id and venue_id in venue_names:
            yield f"  venue: {_quoted(venue_names[venue_id])}"


def _transaction(transaction: Transaction, names: Names) -> Iterator[str]:
    yield ""
    yield f"{transaction.on} * {_quoted(transaction.kind)} {_quoted(transaction.reference)}"
    if transaction.number:
        yield f"  number: {transaction.number}"
        yield f"  id: {_quoted(transaction.id)}"
    if transaction.source_id:
        yield f"  source_id: {_quoted(transaction.source_id)}"
    for leaf, amount in transaction.amounts:
        yield f"  {names[leaf]}  {format_money(amount, transaction.currency)} {transaction.currency}"


def _assertions(extract: Extract, names: Names) -> Iterator[str]:
    after_on = extract.period.to_on + timedelta(days=1)
    with_sub_accounts = dict.fromkeys(sums := closing_by_name(extract, names), 0)
    for (name, currency), amount in sums.items():
        parts = name.split(":")
        for depth in range(1, len(parts) + 1):
            above = ":".join(parts[:depth]), currency
            if above in sums:
                with_sub_accounts[above] += amount
    for (name, currency), amount in with_sub_accounts.items():
        yield f"{after_on} balance {name}  {format_money(amount, currency)} ~ 0 {currency}"
