"""The journal as a file that beancount loads without errors (its language reference, version 3) (L5).

- An account is opened on the first day of the period that first uses it: files of consecutive periods, the first of
  them with opening balances or from the books' first date, are included together and open each account once.
- The closing ``balance`` assertions name every account used so far: they find a period that was left out.
- Amounts have the currency's full decimals. beancount lets half a minor unit pass, and a whole one in an assertion, so
  each assertion states a tolerance of 0. It is dated the day after the last, which beancount checks at its start, and
  includes an account's sub-accounts, as beancount does.
- The same extract gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import timedelta

from ...pricing.money import format_money
from ...web.csv_text import one_line
from ..posting import Leaf
from .account_names import ROOTS, Names, VenueNames, account_names, closing_by_name, description, refuse_names
from .period import Extract, Transaction


def journal_beancount(
    extract: Extract, *, venues: VenueNames, own_chart: Mapping[str, str] | None = None
) -> Iterator[str]:
    """Return the lines of the extract in beancount's language, each with its end.

    Refuses what ``account_names`` refuses, and all the operator's own names that beancount does not take
    (``bad_account_name``).
    """
    names = account_names(extract.leaves, venues, own_chart)
    expected = f"{' or '.join(ROOTS.values())}, then parts of letters, digits and hyphens: Assets:Bank"
    refuse_names(names, _takes, expected=expected)
    return (f"{line}\n" for line in _lines(extract, names, venues))


def _lines(extract: Extract, names: Names, venues: VenueNames) -> Iterator[str]:
    yield f'option "title" "Journal from {extract.period.from_on} to {extract.period.to_on}"'
    yield from (f'option "operating_currency" "{currency}"' for currency in extract.currencies)
    yield ""
    yield from _opens(extract, names, venues)
    for transaction in extract.transactions:
        yield from _transaction(transaction, names, venues)
    yield ""
    yield from _assertions(extract, names)


def _takes(name: str) -> bool:
    root, *parts = name.split(":")
    return root in ROOTS.values() and bool(parts) and all(_takes_part(part) for part in parts)


def _takes_part(part: str) -> bool:
    starts = part[:1].isupper() or part[:1].isdecimal()
    return starts and all(sign.isalpha() or sign.isdecimal() or sign == "-" for sign in part)


def _quoted(text: str) -> str:
    escaped = one_line(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _opens(extract: Extract, names: Names, venues: VenueNames) -> Iterator[str]:
    open_already = {names[leaf] for leaf in extract.opened_before}
    holders: dict[str, list[Leaf]] = {}
    for leaf, name in names.items():
        holders.setdefault(name, []).append(leaf)
    for name, leaves in holders.items():
        if name in open_already:
            continue
        yield f"{extract.period.from_on} open {name}"
        venue_id = leaves[0].venue_id if len(leaves) == 1 else None
        if venue_id:
            yield f"  venue_id: {_quoted(venue_id)}"
            yield f"  venue: {_quoted(venues[venue_id].name)}"


def _transaction(transaction: Transaction, names: Names, venues: VenueNames) -> Iterator[str]:
    yield ""
    yield f"{transaction.on} * {_quoted(transaction.kind)} {_quoted(description(transaction, venues))}"
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
