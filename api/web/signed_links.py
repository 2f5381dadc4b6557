"""Signed links: an address with a signature and an expiry, so that a phone opens one page without a header.

- The signature is that of ``itsdangerous`` (HMAC-SHA-1 with a key derived by the address as salt): it opens this address
  with these parameters, no other, until it expires, and as long as the token that made it is valid.
- Whoever opens it sees what that token sees. The key is 256 random bits, made once and kept in the database.
- Only pages, pictures and calendars (``.html``, ``.svg``, ``.ics``) open so, and only to be read.
"""

import secrets
from datetime import UTC, datetime

from itsdangerous import BadSignature, URLSafeSerializer
from sqlmodel import Session
from starlette.requests import Request

from .errors import READ_AS_TEXT
from .rows import SigningKeyRow

PARAMETER = "signed"


def sign(session: Session, address: str, *, holder: str, expires_at: datetime) -> str:
    """Return an address (path and query, from ``/v1`` on) with its signature for the holder of a token."""
    row = session.get(SigningKeyRow, 1)
    if row is None:
        row = SigningKeyRow(id=1, key=secrets.token_urlsafe(32))
        session.add(row)
        session.flush()
    text = _signer(row.key, address).dumps([holder, int(expires_at.timestamp())])
    return f"{address}{'&' if '?' in address else '?'}{PARAMETER}={text}"


def holder_of(session: Session, address: str, text: str, *, now: datetime) -> str | None:
    """Return whose token signed an address; None where the signature is wrong, of another address, or expired."""
    row = session.get(SigningKeyRow, 1)
    if row is None:
        return None
    try:
        holder, until = _signer(row.key, address).loads(text)
    except BadSignature:
        return None
    return str(holder) if now < datetime.fromtimestamp(until, UTC) else None


def signed_address(request: Request) -> tuple[str, str] | None:
    """Return the address of a request without its signature, and the signature; None where it has none to read by."""
    text = request.query_params.get(PARAMETER)
    if text is None or request.method not in ("GET", "HEAD") or not request.url.path.endswith(READ_AS_TEXT):
        return None
    query = [part for part in request.url.query.split("&") if not part.startswith(f"{PARAMETER}=")]
    return request.url.path + (f"?{'&'.join(query)}" if query else ""), text


def _signer(key: str, address: str) -> URLSafeSerializer:
    return URLSafeSerializer(key, salt=f"baizebook page {address}")
