"""The bags that a deposit or a write-off names (O4): as they are stored and sealed, one text of a JSON list.

- Names are in the order in which they were given, each once; everything outside ASCII is written as ``\\uXXXX``.
- Only an entry that takes cash out of bags names any: a deposit, or a write-off of cash.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

from ..pricing.errors import domain_error

_TAKES_CASH = ("deposit", "write_off")


def bags_text(bags: Sequence[str]) -> str | None:
    """Return bags as they are stored; None where there are none."""
    return json.dumps(list(bags), separators=(",", ":"), ensure_ascii=True) if bags else None


def bags_of(stored: str | None) -> tuple[str, ...]:
    """Return stored bags."""
    return () if stored is None else tuple(json.loads(stored))


def must_be_of_an_entry(bags: Sequence[str], *, kind: str, of_venue: bool) -> None:
    """Refuse (``invalid``) bags of an entry that takes no cash out of them, and a bag that is named twice."""
    if not bags:
        return
    if kind not in _TAKES_CASH or of_venue:
        raise domain_error("invalid", where="bags", found=f"bags in a {kind}", expected="a deposit or cash written off")
    twice = [bag for place, bag in enumerate(bags) if bag in bags[:place]]
    if twice:
        raise domain_error("invalid", where="bags", found=f"{twice[0]} twice", expected="each bag once")
