"""Idempotency keys: the same key and payload is answered as before, another payload is refused (``key_reused``).

The key is claimed first in the request's own transaction, the answer is kept last in it: a key never outlives work
that was rolled back, and of many requests at once one works and the others wait for its answer.
"""

import hashlib
import json
from collections.abc import MutableMapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import Request, Response
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session

from api.access.models import KeptAnswerRow
from api.errors import Problem, refused

_KEPT_HEADERS = ("content-type", "location", "etag", "link")
_KEY_LENGTH_MAX = 200


class Replay(Exception):
    """This request was answered before; here is the answer."""

    def __init__(self, status: int, headers: MutableMapping[str, str], body: bytes) -> None:
        self.status, self.headers, self.body = status, headers, body
        super().__init__(status)


@dataclass(frozen=True, slots=True)
class Claim:
    """A key that this request has claimed."""

    asker: str
    key: str


def claim_key(session: Session, request: Request, *, asker: str, now: datetime) -> None:
    """Claim the request's idempotency key, if it sent one; raise ``Replay`` where it was answered before."""
    key = request.headers.get("idempotency-key")
    if key is None or request.method != "POST":
        return
    if not 1 <= len(key) <= _KEY_LENGTH_MAX or not key.isascii() or not key.isprintable():
        raise refused(
            "invalid", where="Idempotency-Key", found=f"{len(key)} characters", expected="1 to 200 printable characters"
        )
    insert = (sqlite if session.get_bind().dialect.name == "sqlite" else postgresql).insert
    fingerprint = _fingerprint(request)
    statement = insert(KeptAnswerRow).values(asker=asker, key=key, fingerprint=fingerprint, kept_at=now)
    claimed: Any = session.execute(statement.on_conflict_do_nothing().returning(KeptAnswerRow.key)).first()
    if claimed:
        request.state.claim = Claim(asker, key)
        return
    kept = session.get_one(KeptAnswerRow, (asker, key))
    if kept.fingerprint != fingerprint:
        raise Problem("key_reused")
    assert kept.status is not None
    assert kept.headers is not None
    assert kept.body is not None
    raise Replay(kept.status, json.loads(kept.headers), kept.body)


def keep_answer(session: Session, claim: Claim, response: Response) -> None:
    """Keep the answer beside the claimed key, in the transaction that did the work."""
    kept = session.get_one(KeptAnswerRow, (claim.asker, claim.key))
    kept.status = response.status_code
    kept.headers = json.dumps({name: value for name, value in response.headers.items() if name in _KEPT_HEADERS})
    kept.body = bytes(response.body)
    session.flush()


def _fingerprint(request: Request) -> str:
    """Hash what was asked: method, address, and the payload whatever the order of its names."""
    payload = json.dumps(getattr(request, "_json", None), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(f"{request.method} {request.url.path}?{request.url.query}\n{payload}".encode()).hexdigest()
