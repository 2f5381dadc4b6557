"""Who is asking, and may they? The one place that turns a bearer token into rights.

- No token, or a wrong, expired or revoked one: 401 with ``WWW-Authenticate`` (RFC 6750).
- A role that lacks the operation: 403, whatever the address names.
- What belongs to another venue or table: 404, as if it did not exist.
"""

import secrets
from dataclasses import dataclass
from typing import Annotated, Any
from uuid import UUID

from fastapi import Depends, Request, Security
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer

from api.access import service
from api.access.models import ROLES, Role
from api.access.replay import claim_key
from api.clock import NowDep
from api.db import SessionDep
from api.errors import Problem, not_found

_bearer = HTTPBearer(auto_error=False, description="A token made by `POST /v1/tokens` or `baizebook token create`.")
BearerDep = Annotated[HTTPAuthorizationCredentials | None, Security(_bearer)]


@dataclass(frozen=True, slots=True)
class Asker:
    """Whoever holds the token: its name, its role, and the venue or table it is bound to."""

    id: str
    name: str
    role: Role
    venue_id: UUID | None = None
    table_id: UUID | None = None

    def must_see_venue(self, venue_id: UUID | None, *, what: str = "venue") -> None:
        """Refuse, as absent, what belongs to a venue that is not the asker's."""
        if self.role == "device" or (self.role == "venue" and venue_id != self.venue_id):
            raise not_found(what)

    def must_see_table(self, table_id: UUID) -> None:
        """Refuse, as absent, a table that is not the device's own."""
        if self.role == "device" and table_id != self.table_id:
            raise not_found("table")


def _unknown(fault: str | None) -> Problem:
    challenge = 'Bearer realm="baizebook"' + (f', error="{fault}"' if fault else "")
    return Problem("no_token", headers={"WWW-Authenticate": challenge})


def find_asker(
    request: Request,
    session: SessionDep,
    now: NowDep,
    credentials: BearerDep,
) -> Asker:
    """Return who is asking; refuse (401) who cannot be told."""
    if credentials is None:
        raise _unknown("invalid_request" if "authorization" in request.headers else None)
    token = credentials.credentials
    owner = request.app.state.settings.owner_token
    if owner is not None and secrets.compare_digest(token.encode(), owner.encode()):
        return Asker("environment", "the owner", "owner")
    row = service.find_token(session, token, now=now)
    if row is None:
        raise _unknown("invalid_token")
    return Asker(str(row.id), row.name, row.role, row.venue_id, row.pool_table_id)  # type: ignore[arg-type]


def allow(*roles: Role) -> Any:
    """Return the dependency of an operation that these roles may use; the owner always may."""
    allowed = frozenset(roles) | {"owner"}
    assert allowed <= set(ROLES)

    def admit(
        request: Request,
        session: SessionDep,
        now: NowDep,
        asker: Annotated[Asker, Depends(find_asker)],
        credentials: BearerDep,
    ) -> Asker:
        if asker.role not in allowed:
            raise Problem("forbidden", f"The role {asker.role} does not include this operation.")
        assert credentials is not None
        claim_key(session, request, asker=asker.id, secret=credentials.credentials, now=now)
        return asker

    admit.roles = allowed  # type: ignore[attr-defined]
    return Depends(admit)


OwnerDep = Annotated[Asker, allow()]
