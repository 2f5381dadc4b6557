"""Idempotency keys: the same key and payload is answered as before, another payload is refused (``key_reused``).

- The key is claimed first in the request's own transaction, the answer is kept last in it: a key never outlives work
  that was rolled back, and of many requests at once one works and the others wait for its answer.
- What only computes has nothing to repeat: there a key is passed over.
- An answer that shows a token is never kept, nor one of more than 64 kB: a repetition is told the outcome only
  (``answer_not_kept``).
- A kept answer expires after 48 hours: the key is free again, and the row is purged.
"""

import hashlib
import json
from collections.abc import MutableMapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from fastapi import Request, Response
from sqlalchemy import delete
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, col

from .errors import Problem, http_problem
from .rows import KeptAnswerRow

KEPT_FOR = timedelta(hours=48)
KEPT_ANSWER_BYTES_MAX = 64_000

_KEPT_HEADERS = ("content-type", "location", "etag", "link")

_KEY_LENGTH_MAX = 200


class Replay(Exception):
    """This request was answered before; here is the answer."""

    def __init__(self, status: int, headers: MutableMapping[str, str], body: bytes) -> None:
        self.status, self.headers, self.body = status, headers, body
        super().__init__(status)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyClaim:
    """A key that a request sent: whose it is, what it asks for, when, and whether its answer shows a token."""

    principal: str
    key: str
    fingerprint: str
    at: datetime
    shows_token: bool


def wanted_key(request: Any) -> KeyClaim | None:
    """Return the claim of a parsed request that carries a key, or None; refuse (422) a key that is none."""
    key = request.headers.get("idempotency-key")
    endpoint = request.scope["endpoint"]
    if key is None or request.method != "POST" or getattr(endpoint, "stores_nothing", False):
        return None
    if not 1 <= len(key) <= _KEY_LENGTH_MAX or not key.isascii() or not key.isprintable():
        raise http_problem(
            "invalid", where="Idempotency-Key", found=f"{len(key)} characters", expected="1 to 200 printable characters"
        )
    return KeyClaim(
        principal=request.state.principal.id,
        key=key,
        fingerprint=_fingerprint(request, request.value),
        at=request.app.state.clock(),
        shows_token=getattr(endpoint, "shows_token", False),
    )


def was_answered(session: Session, claim: KeyClaim) -> bool:
    """Tell whether the key of a claim is in use by a request that was answered: another has nothing to work out."""
    kept = session.get(KeptAnswerRow, (claim.principal, claim.key))
    return kept is not None and kept.kept_at >= claim.at - KEPT_FOR


def claim_key(session: Session, claim: KeyClaim) -> None:
    """Claim a key; raise ``Replay`` where it was answered before, or the problem of one that cannot be."""
    insert = (sqlite if session.get_bind().dialect.name == "sqlite" else postgresql).insert
    fresh = {"fingerprint": claim.fingerprint, "kept_at": claim.at, "status": None, "headers": None, "body": None}
    statement = (
        insert(KeptAnswerRow)
        .values(principal=claim.principal, key=claim.key, **fresh)
        .on_conflict_do_update(
            index_elements=["principal", "key"], set_=fresh, where=col(KeptAnswerRow.kept_at) < claim.at - KEPT_FOR
        )
        .returning(KeptAnswerRow.key)
    )
    result: Any = session.execute(statement)
    if result.first():
        return
    kept = session.get_one(KeptAnswerRow, (claim.principal, claim.key))
    if kept.fingerprint != claim.fingerprint:
        raise http_problem(
            "key_reused",
            where="Idempotency-Key",
            found=f"a key that came with another request since {claim.at - KEPT_FOR:%Y-%m-%dT%H:%M:%SZ}",
            expected="a key of its own for each request",
        )
    if kept.status is None or kept.headers is None:
        raise RuntimeError(f"the key {claim.key!r} was committed without an outcome")
    headers = json.loads(kept.headers)
    if kept.body is None:
        where = f", at {headers['location']}" if "location" in headers else ""
        raise Problem("answer_not_kept", f"The same request was answered before with status {kept.status}{where}.")
    raise Replay(kept.status, headers, kept.body)


def keep_answer(session: Session, claim: KeyClaim, response: Response) -> None:
    """Keep the answer beside the claimed key, in the transaction that did the work."""
    kept = session.get_one(KeptAnswerRow, (claim.principal, claim.key))
    kept.status = response.status_code
    kept.headers = json.dumps({name: value for name, value in response.headers.items() if name in _KEPT_HEADERS})
    body = bytes(response.body)
    kept.body = None if claim.shows_token or len(body) > KEPT_ANSWER_BYTES_MAX else body
    session.flush()


def purge(session: Session, *, now: datetime) -> None:
    """Delete the kept answers that have expired."""
    session.execute(delete(KeptAnswerRow).where(col(KeptAnswerRow.kept_at) < now - KEPT_FOR))


def _fingerprint(request: Request, payload: Any) -> str:
    """Hash what was asked: method, address, and the payload whatever the order of its names."""
    written = json.dumps(payload, sort_keys=True, separators=(",", ":"))
    asked = f"{request.method} {request.url.path}?{request.url.query}\n{written}"
    return hashlib.sha256(asked.encode()).hexdigest()
