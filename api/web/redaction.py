"""What must never be written down: bearer tokens and secrets of webhooks, in logs and in answers, wherever a client put them.

A token belongs in the header Authorization and is read there only. One that was put into an address or a field by
mistake is blotted out of whatever would repeat it: by its form where the service made it, and by its value where it is
the owner's from the environment, as it is and as an address writes it.
"""

import re
from urllib.parse import quote

TOKEN_PREFIX = "bz_"

_TOKEN = re.compile(rf"{TOKEN_PREFIX}[A-Za-z0-9_-]{{16,}}")
_WEBHOOK_SECRET = re.compile(r"whsec_[A-Za-z0-9+/_=-]{16,}")
_secrets: set[str] = set()


def hide(secret: str) -> None:
    """Blot out a secret of this process from now on."""
    _secrets.update((secret, quote(secret), quote(secret, safe="")))


def without_tokens(text: str) -> str:
    """Return a text with every token in it blotted out."""
    for secret in _secrets:
        text = text.replace(secret, f"{TOKEN_PREFIX}…")
    return _WEBHOOK_SECRET.sub("whsec_…", _TOKEN.sub(f"{TOKEN_PREFIX}…", text))
