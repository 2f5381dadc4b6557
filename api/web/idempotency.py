"""Idempotency keys: the same key and payload is answered as before, another payload is refused (``key_reused``).

- The key is claimed first in the request's own transaction, the answer is kept last in it: a key never outlives work
  that was rolled back, and of many requests at once one works and the others wait for its answer.
- What only computes has nothing to repeat: there a key is passed over.
- An answer may carry a token, so it is kept sealed under the principal's own, which is stored nowhere.
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

from .errors import Problem, refused
from .rows import KeptAnswerRow

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

    principal: str
    key: str
    secret: str


def claim_key(session: Session, request: Request, *, principal: str, secret: str, now: datetime) -> None:
    """Claim the request's idempotency key, if it sent one; raise ``Replay`` where it was answered before.

    ``secret`` is the principal's token, under which the answer is sealed.
    """
    key = request.headers.get("idempotency-key")
    if key is None or request.method != "POST" or getattr(request.scope["endpoint"], "stores_nothing", False):
        return
    if not 1 <= len(key) <= _KEY_LENGTH_MAX or not key.isascii() or not key.isprintable():
        raise refused(
            "invalid", where="Idempotency-Key", found=f"{len(key)} characters", expected="1 to 200 printable characters"
        )
    insert = (sqlite if session.get_bind().dialect.name == "sqlite" else postgresql).insert
    fingerprint = _fingerprint(request, secret)
    statement = insert(KeptAnswerRow).values(asker=principal, key=key, fingerprint=fingerprint, kept_at=now)
    claimed: Any = session.execute(statement.on_conflict_do_nothing().returning(KeptAnswerRow.key)).first()
    if claimed:
        request.state.claim = Claim(principal, key, secret)
        return
    kept = session.get_one(KeptAnswerRow, (principal, key))
    if kept.fingerprint != fingerprint:
        raise Problem("key_reused")
    assert kept.status is not None
    assert kept.headers is not None
    assert kept.body is not None
    raise Replay(kept.status, json.loads(kept.headers), _sealed(kept.body, kept, secret))


def keep_answer(session: Session, claim: Claim, response: Response) -> None:
    """Keep the answer beside the claimed key, in the transaction that did the work."""
    kept = session.get_one(KeptAnswerRow, (claim.principal, claim.key))
    kept.status = response.status_code
    kept.headers = json.dumps({name: value for name, value in response.headers.items() if name in _KEPT_HEADERS})
    kept.body = _sealed(bytes(response.body), kept, claim.secret)
    session.flush()


def _sealed(body: bytes, kept: KeptAnswerRow, secret: str) -> bytes:
    """Seal a body, or open a sealed one: XOR with a key stream that only the holder of the secret can make.

    The stream (SHAKE-256) is another one for every kept answer: no two have the same principal, key and instant.
    """
    seed = json.dumps([secret, kept.asker, kept.key, kept.kept_at.isoformat()])
    stream = hashlib.shake_256(seed.encode()).digest(len(body))
    return (int.from_bytes(body) ^ int.from_bytes(stream)).to_bytes(len(body))


def _fingerprint(request: Request, secret: str) -> str:
    """Hash who asked what: token, method, address, and the payload whatever the order of its names."""
    payload = json.dumps(getattr(request, "_json", None), sort_keys=True, separators=(",", ":"))
    asked = f"{secret}\n{request.method} {request.url.path}?{request.url.query}\n{payload}"
    return hashlib.sha256(asked.encode()).hexdigest()
