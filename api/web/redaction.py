"""What must never be written down: bearer tokens, in logs and in answers, wherever a client put them.

A token belongs in the header Authorization and is read there only. One that was put into an address or a field by
mistake is blotted out of whatever would repeat it.
"""

import re

TOKEN_PREFIX = "bz_"

_TOKEN = re.compile(rf"{TOKEN_PREFIX}[A-Za-z0-9_-]{{16,}}")


def without_tokens(text: str) -> str:
    """Return a text with every token in it blotted out."""
    return _TOKEN.sub(f"{TOKEN_PREFIX}…", text)
