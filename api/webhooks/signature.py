"""Signatures of webhooks (Standard Webhooks 1.0.0, symmetric, version v1). Values in, values out.

- What is signed is ``id.timestamp.body``, by HMAC-SHA256 with the bytes of the secret; the signature is base64 after ``v1,``.
- A secret is ``whsec_`` and the base64 of 32 random bytes.
- While a secret is being replaced, a message carries a signature by each of the two, with a space between.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from collections.abc import Iterable

SECRET_PREFIX = "whsec_"
SECRET_BYTES = 32


def new_secret() -> str:
    """Return a new secret: 256 random bits."""
    return SECRET_PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def signed_headers(id: str, body: bytes, *, timestamp_s: int, by: Iterable[str]) -> dict[str, str]:
    """Return the three headers of a message that is sent at a Unix time, signed by each of some secrets."""
    content = f"{id}.{timestamp_s}.".encode() + body
    signatures = " ".join(f"v1,{_signature(content, secret)}" for secret in by)
    return {"webhook-id": id, "webhook-timestamp": str(timestamp_s), "webhook-signature": signatures}


def _signature(content: bytes, secret: str) -> str:
    key = base64.b64decode(secret.removeprefix(SECRET_PREFIX))
    return base64.b64encode(hmac.new(key, content, hashlib.sha256).digest()).decode()
