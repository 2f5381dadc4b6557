"""The journal as plain text that the ledger and hledger programs both read, strictly and without errors (L5).

- Every account, currency and tag is declared; opening balances, if wanted, are one transaction for each currency on the
  first day.
- The last transaction moves nothing and asserts the closing balance of every account used so far, on the last day:
  files of consecutive periods are loaded together, and a period that was left out is found.
- Free text appears only where neither program interprets it: in descriptions and whole-line comments, without ``;`` and
  ``|``.
- The same extract gives the same bytes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from ...pricing.money import exponent, format_money
from ...web.csv_text import one_line
from .account_names import Names, VenueNames, account_names, closing_by_name, description, refuse_names
from .period import Extract, Transaction

_NAME = re.compile(r"[^\W_][\w.&/'-]*( [\w.&/'-]+)*(:[^\W_][\w.&/'-]*( [\w.&/'-]+)*)*")


def journal_ledger(
    extract: Extract, *, venues: VenueNames, own_chart: Mapping[str, str] | None = None
) -> Iterator[str]:
    """Return the lines of the extract in ledger's language, each with its end.

    Refuses what ``account_names`` refuses, and all the operator's own names that ledger does not take
    (``bad_account_name``).
    """
    names = account_names(extract.leaves, venues, own_chart)
    expected = "parts of letters, digits, single spaces and . & / ' - _ with a colon between them: Assets:Bank"
    refuse_names(names, lambda name: _NAME.fullmatch(name) is not None, expected=expected)
    return (f"{line}\n" for line in _lines(extract, names, venues))


def _lines(extract: Extract, names: Names, venues: VenueNames) -> Iterator[str]:
    yield f"; Journal from {extract.period.from_on} to {extract.period.to_on}"
    yield from ("", "tag id", "tag source_id", "")
    for currency in extract.currencies:
        yield from _commodity(currency)
    yield from _accounts(names, venues)
    for transaction in extract.transactions:
        yield from _transaction(transaction, names, venues)
    yield from _assertions(extract, names)


def _plain(text: str) -> str:
    return one_line(text.replace(";", ",").replace("|", "/"))


def _commodity(currency: str) -> Iterator[str]:
    """Declare a currency; hledger wants a decimal mark in a format, which ledger refuses without decimals after it."""
    yield f"commodity {currency}"
    if exponent(currency):
        yield f"    format {format_money(1000 * 10 ** exponent(currency), currency)} {currency}"
    yield ""


def _accounts(names: Names, venues: VenueNames) -> Iterator[str]:
    for venue_id in sorted({leaf.venue_id for leaf in names if leaf.venue_id}):
        yield f"; venue {venue_id} {_plain(venues[venue_id].name)}".rstrip()
    yield from (f"account {name}" for name in dict.fromkeys(names.values()))


def _transaction(transaction: Transaction, names: Names, venues: VenueNames) -> Iterator[str]:
    code = f" ({transaction.number})" if transaction.number else ""
    yield ""
    yield f"{transaction.on} *{code} {transaction.kind} {_plain(description(transaction, venues))}".rstrip()
    if transaction.id:
        yield f"    ; id: {transaction.id}"
    if transaction.source_id:
        yield f"    ; source_id: {transaction.source_id}"
    for leaf, amount in transaction.amounts:
        yield f"    {names[leaf]}  {format_money(amount, transaction.currency)} {transaction.currency}"


def _assertions(extract: Extract, names: Names) -> Iterator[str]:
    sums = closing_by_name(extract, names)
    if sums:
        yield ""
        yield f"{extract.period.to_on} * closing_balances"
    for (name, currency), amount in sums.items():
        yield f"    {name}  {format_money(0, currency)} {currency} = {format_money(amount, currency)} {currency}"
