"""A venue's name in the books: the part that stands for it in names of accounts.

- It is made from the venue's name when the venue is made, and never changes: a renamed venue keeps its accounts.
- It has ASCII letters, digits and hyphens only, begins with a capital or a digit, and no two venues share one.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container

LENGTH_MAX = 60


def books_name(name: str, *, taken: Container[str]) -> str:
    """Return ``name`` as a part of account names, with a number after it where another venue has the same.

    Accents are dropped; a name without any ASCII letter or digit becomes ``Venue``.
    """
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss")).encode("ascii", "ignore").decode()
    words = re.findall(r"[A-Za-z0-9]+", plain.replace("'", ""))
    stem = "-".join(word[0].upper() + word[1:] for word in words)[:LENGTH_MAX].rstrip("-") or "Venue"
    number, found = 1, stem
    while found in taken:
        number += 1
        found = f"{stem}-{number}"
    return found
