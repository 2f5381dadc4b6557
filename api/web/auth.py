"""Who is asking, and may they? The one place that turns a bearer token into rights.

- No token: 401. A header that holds no bearer token, or two headers: 401, ``invalid_request``. A wrong, expired or
  revoked token: 401, ``invalid_token``, its own problem, and not which of the three (RFC 6750, section 3).
- Too many wrong tokens from one address: 429 with ``Retry-After``; a right one is let in all the same.
- A role that lacks the operation: 403 (``insufficient_scope``), whatever the address names.
- What belongs to another venue or table: 404, as if it did not exist.
"""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from fastapi import Depends, Request, Security
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from sqlmodel import Session, select

from . import auth
from .dependencies import NowDep, SessionDep
from .errors import Problem, not_found
from .idempotency import claim_key
from .rows import ROLES, Role, TokenRow

_bearer = HTTPBearer(auto_error=False, description="A token made by `POST /v1/tokens` or `baizebook token create`.")

BearerDep = Annotated[HTTPAuthorizationCredentials | None, Security(_bearer)]


@dataclass(frozen=True, slots=True)
class Principal:
    """Whoever holds the token: its name, its role, and the venue or table it is bound to."""

    id: str
    name: str
    role: Role
    venue_id: UUID | None = None
    table_id: UUID | None = None

    def must_see_venue(self, venue_id: UUID | None, *, what: str = "venue") -> None:
        """Refuse, as absent, what belongs to a venue that is not the principal's."""
        if self.role == "device" or (self.role == "venue" and venue_id != self.venue_id):
            raise not_found(what)


def _challenge(fault: str | None = None) -> dict[str, str]:
    return {"WWW-Authenticate": 'Bearer realm="baizebook"' + (f', error="{fault}"' if fault else "")}


async def find_principal(
    request: Request,
    session: SessionDep,
    now: NowDep,
    credentials: BearerDep,
) -> Principal:
    """Return who is asking; refuse (401, 429) who cannot be told."""
    sent = request.headers.getlist("authorization")
    if credentials is None or len(sent) > 1:
        raise Problem("no_token", headers=_challenge("invalid_request" if sent else None))
    token = credentials.credentials
    owner = request.app.state.settings.owner_token
    if owner is not None and secrets.compare_digest(token.encode(), owner.encode()):
        return Principal("environment", "the owner", "owner")
    row = auth.find_token(session, token, now=now)
    if row is None:
        address = request.client.host if request.client else ""
        if wait_s := request.app.state.wrong_tokens.note(address, now=now):
            raise Problem("too_many", headers={"Retry-After": str(wait_s)})
        raise Problem("wrong_token", headers=_challenge("invalid_token"))
    return Principal(str(row.id), row.name, row.role, row.venue_id, row.pool_table_id)  # type: ignore[arg-type]


def allow(*roles: Role) -> Any:
    """Return the dependency of an operation that these roles may use; the owner always may."""
    allowed = frozenset(roles) | {"owner"}
    assert allowed <= set(ROLES)

    async def admit(
        request: Request,
        session: SessionDep,
        now: NowDep,
        principal: Annotated[Principal, Depends(find_principal)],
        credentials: BearerDep,
    ) -> Principal:
        if principal.role not in allowed:
            refusal = f"The role {principal.role} does not include this operation."
            raise Problem("forbidden", refusal, headers=_challenge("insufficient_scope"))
        assert credentials is not None
        claim_key(session, request, principal=principal.id, secret=credentials.credentials, now=now)
        return principal

    admit.roles = allowed  # type: ignore[attr-defined]
    return Depends(admit)


OwnerDep = Annotated[Principal, allow()]


def hash_token(token: str) -> str:
    """Return the hex SHA-256 under which a token is kept."""
    return hashlib.sha256(token.encode()).hexdigest()


def find_token(session: Session, token: str, *, now: datetime) -> TokenRow | None:
    """Return the row of a token that is valid now, or None."""
    row = session.exec(select(TokenRow).where(TokenRow.token_hash == hash_token(token))).first()
    if row is None or row.revoked_at is not None or (row.expires_at is not None and row.expires_at <= now):
        return None
    return row
