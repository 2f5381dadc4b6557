"""A posting: one line of an entry, on one leaf of the chart of accounts; and the mirror image that takes lines back.

- Debit is positive, credit negative; an amount is minor units of its entry's currency and never zero (L1).
- The mirror image has the same accounts and every amount with the other sign (L2).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from ..pricing.errors import domain_error
from ..pricing.money import MAX_MINOR
from .accounts import ACCOUNTS

UUID_TEXT = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", re.ASCII)
"""How an id is written: RFC 9562's text form in lower case, so that one id has one spelling in the chain (L3)."""
_PLACES = {code: place for place, code in enumerate(ACCOUNTS)}


@dataclass(frozen=True, slots=True)
class Leaf:
    """The account that is posted to: one of the chart, and of which venue where it is kept per venue.

    Refuses an account that is not in the chart (``unknown_account``), a venue where none belongs
    (``venue_not_wanted``), none where one does (``venue_needed``), and an id that is no UUID (``bad_id``).
    """

    account: str
    venue_id: str | None = None

    def __post_init__(self) -> None:
        known = ACCOUNTS.get(self.account)
        if known is None:
            expected = f"one of {', '.join(ACCOUNTS)}"
            raise domain_error("unknown_account", where="account", found=repr(self.account), expected=expected)
        if self.venue_id is None and known.per_venue == "always":
            expected = f"the venue whose {self.account} this is"
            raise domain_error("venue_needed", where="venue_id", found="none", expected=expected)
        if self.venue_id is not None and known.per_venue == "never":
            expected = f"none: {self.account} is not kept per venue"
            raise domain_error("venue_not_wanted", where="venue_id", found=self.venue_id, expected=expected)
        if self.venue_id is not None and not UUID_TEXT.fullmatch(self.venue_id):
            raise domain_error("bad_id", where="venue_id", found=repr(self.venue_id), expected="a UUID in lower case")

    @property
    def code(self) -> str:
        """The leaf in one word: ``bank``, ``owed_to_venues:<venue id>``."""
        return self.account if self.venue_id is None else f"{self.account}:{self.venue_id}"

    @property
    def place(self) -> tuple[int, str]:
        """The sort key: the order of the chart, then the venue's id."""
        return _PLACES[self.account], self.venue_id or ""


@dataclass(frozen=True, slots=True)
class Posting:
    """One line of an entry: the account, its venue where it is kept per venue, and minor units, debit positive.

    Refuses what ``Leaf`` refuses, a zero (``zero_posting``) and more than the engine handles (``amount_too_large``).
    """

    account: str
    venue_id: str | None
    amount_minor: int

    def __post_init__(self) -> None:
        Leaf(self.account, self.venue_id)
        if self.amount_minor == 0:
            raise domain_error("zero_posting", where="amount_minor", found=0, expected="an amount that is not zero")
        if abs(self.amount_minor) > MAX_MINOR:
            expected = f"at most {MAX_MINOR} minor units"
            raise domain_error("amount_too_large", where="amount_minor", found=self.amount_minor, expected=expected)

    @property
    def leaf(self) -> Leaf:
        return Leaf(self.account, self.venue_id)


def mirror(postings: Iterable[Posting]) -> tuple[Posting, ...]:
    """Return the postings of the reversal: the same accounts in the same order, every amount with the other sign."""
    return tuple(Posting(posting.account, posting.venue_id, -posting.amount_minor) for posting in postings)
