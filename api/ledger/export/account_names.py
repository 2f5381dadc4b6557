"""What every export says alike: the names of accounts, ours or the operator's own, and text on a single line.

- Our names never change when a venue is renamed: a venue's leaf ends in ``V-`` and the last twelve digits of its id.
- With the operator's own names, a leaf takes the name given for itself (``owed_to_venues:<venue id>``), else the one
  given for its account (``owed_to_venues``); those without any are refused together (L5).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from ...pricing.errors import DomainError, Fault, domain_error
from ..accounts import ACCOUNTS
from ..posting import Leaf
from .period import Extract

Names = dict[Leaf, str]


def account_names(leaves: Iterable[Leaf], own_chart: Mapping[str, str] | None = None) -> Names:
    """Return each leaf's name in an export: ours, or by ``own_chart`` (code to name) the operator's.

    Refuses all the accounts that ``own_chart`` leaves out (``account_not_mapped``, each named by its code), and two
    venues whose names of ours would be the same (``venues_look_alike``).
    """
    if own_chart is not None:
        return _mapped(leaves, own_chart)
    names: Names = {leaf: _our_name(leaf) for leaf in leaves}
    by_name: dict[str, Leaf] = {}
    for leaf, name in names.items():
        twin = by_name.setdefault(name, leaf)
        if twin != leaf:
            expected = "ids of venues that differ in their last twelve digits, or names of your own"
            raise domain_error("venues_look_alike", where=leaf.code, found=twin.venue_id, expected=expected)
    return names


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


def one_line(text: str) -> str:
    """Return the text with each run of white space and control characters, or what is no character, as one space."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def _our_name(leaf: Leaf) -> str:
    account = ACCOUNTS[leaf.account]
    slug = "-".join(word.capitalize() for word in leaf.account.split("_"))
    parts = [account.root, slug]
    if account.per_venue != "never":
        parts.append(f"V-{leaf.venue_id[-12:]}" if leaf.venue_id else "General")
    return ":".join(parts)


def _mapped(leaves: Iterable[Leaf], own_chart: Mapping[str, str]) -> Names:
    names = {leaf: one_line(own_chart.get(leaf.code) or own_chart.get(leaf.account, "")) for leaf in leaves}
    missing = dict.fromkeys(leaf.account for leaf, name in names.items() if not name)
    if missing:
        expected = "a name in your own chart of accounts"
        raise DomainError(*(Fault("account_not_mapped", code, "no name", expected) for code in missing))
    return names
