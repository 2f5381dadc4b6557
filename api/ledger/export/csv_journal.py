"""The journal as CSV, in one of three profiles that accounting programs commonly import (L5).

- ``two_column``: one line per posting, its amount under debit or credit; ``signed``: one line per posting, debit
  positive; ``contra``: one line per movement, from the account debited against the contra account credited.
- ``account`` is the account's code with the venue's name in the books (``owed_to_venues:Corner-Bar``), or the operator's
  own name; ``venue`` is the venue's name today.
- RFC 4180: a header, CRLF after every line, cells quoted where they need it, quotes doubled.
- A text cell that a spreadsheet could take for a formula gets a leading apostrophe; numbers never do.
- Amounts have the currency's full decimals and no separators; the same extract gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal, get_args

from ...pricing.errors import domain_error
from ...pricing.money import format_money
from ...web.csv_text import PLAIN, Dialect, csv_lines, text_cell
from ..posting import Leaf
from .account_names import Names, VenueNames, account_codes, description
from .period import Extract, Transaction

Profile = Literal["two_column", "signed", "contra"]

PROFILES: tuple[Profile, ...] = get_args(Profile)
_COLUMNS: dict[Profile, tuple[str, ...]] = {
    "two_column": ("account", "debit", "credit"),
    "signed": ("account", "amount"),
    "contra": ("account", "contra_account", "amount"),
}
_BEFORE = ("date", "entry", "kind")
_AFTER = ("currency", "venue_id", "venue", "description", "entry_id", "source_id")


def journal_csv(
    extract: Extract,
    *,
    profile: Profile,
    venues: VenueNames,
    own_chart: Mapping[str, str] | None = None,
    dialect: Dialect = PLAIN,
) -> Iterator[str]:
    """Return the extract as lines of CSV, to be encoded as UTF-8.

    Refuses ``unknown_profile`` and what ``account_codes`` refuses.
    """
    if profile not in PROFILES:
        raise domain_error(
            "unknown_profile", where="profile", found=repr(profile), expected=f"one of {', '.join(PROFILES)}"
        )
    names = account_codes(extract.moved, venues, own_chart)
    lines = (
        (*_before(transaction), *cells, *_after(transaction, leaf, venues))
        for transaction in extract.transactions
        for leaf, cells in _lines(transaction, profile, names)
    )
    return csv_lines((*_BEFORE, *_COLUMNS[profile], *_AFTER), lines, dialect)


def pairs(transaction: Transaction) -> Iterator[tuple[Leaf, Leaf, int]]:
    """Yield a transaction as movements (debited, credited, minor units above zero) that give the same balances.

    Debits are set against credits in their order, each as far as it reaches; an account is set against itself only
    where no other is left.
    """
    sums: dict[Leaf, int] = {}
    for leaf, amount in transaction.amounts:
        sums[leaf] = sums.get(leaf, 0) + amount
    net = [(leaf, amount) for leaf, amount in sums.items() if amount] or list(transaction.amounts)
    credits = ((leaf, -amount) for leaf, amount in net if amount < 0)
    credited, open_amount = next(credits)
    for debited, amount in net:
        rest = max(amount, 0)
        while rest:
            if not open_amount:
                credited, open_amount = next(credits)
            part = min(rest, open_amount)
            yield debited, credited, part
            rest, open_amount = rest - part, open_amount - part


def _lines(transaction: Transaction, profile: Profile, names: Names) -> Iterator[tuple[Leaf, tuple[str, ...]]]:
    """Yield the cells between date and currency of each line, with the leaf that it is about."""
    if profile == "contra":
        for debited, credited, amount in pairs(transaction):
            about = debited if debited.venue_id else credited
            money = format_money(amount, transaction.currency)
            yield about, (text_cell(names[debited]), text_cell(names[credited]), money)
        return
    for leaf, amount in transaction.amounts:
        account = text_cell(names[leaf])
        if profile == "signed":
            yield leaf, (account, format_money(amount, transaction.currency))
        else:
            money = format_money(abs(amount), transaction.currency)
            yield leaf, (account, money, "") if amount > 0 else (account, "", money)


def _before(transaction: Transaction) -> tuple[str, ...]:
    return transaction.on.isoformat(), str(transaction.number or ""), transaction.kind


def _after(transaction: Transaction, leaf: Leaf, venues: VenueNames) -> tuple[str, ...]:
    venue = text_cell(venues[leaf.venue_id].name) if leaf.venue_id else ""
    text = text_cell(description(transaction, venues))
    return transaction.currency, leaf.venue_id or "", venue, text, transaction.id, transaction.source_id or ""
