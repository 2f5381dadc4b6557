"""The caller of an operation, and what it may do: the one place that turns a token into rights.

- A token comes as a bearer token (RFC 6750), or as the password of HTTP Basic (RFC 7617), with any user: cells,
  calendars and browsers can send no other.
- No token: 401. A header that holds no token, or two headers: 401, ``invalid_request``. A wrong, expired or
  revoked token: 401, ``invalid_token``, its own problem, and not which of the three (RFC 6750, section 3).
- A browser sends a password that it keeps with every request, also with one that another site makes. A request by
  Basic that changes something and comes from another site (``Sec-Fetch-Site``) gets 403.
- A role that lacks the operation: 403 (``insufficient_scope``), whatever the address names.
- What belongs to another venue or table: 404, as if it did not exist.
"""

import hashlib
import secrets
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from fastapi import Depends, HTTPException, Request, Security
from fastapi.security import HTTPAuthorizationCredentials, HTTPBasic, HTTPBasicCredentials, HTTPBearer
from sqlalchemy import update
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session, col, select

from ..pricing.effort import Stop
from ..store.read_cache import ReadCache
from .dependencies import LOOKED
from .errors import Problem, http_problem, not_found
from .rows import ROLES, Right, Role, TokenRow
from .sheet_links import Opened, find_sheet_link, opened_by
from .signed_links import holder_of, signed_address
from .transactions import Transactions

_bearer = HTTPBearer(auto_error=False, description="A token made by `POST /v1/tokens` or `baizebook token create`.")

_basic = HTTPBasic(
    auto_error=False, description="Any user; the password is a token. For cells, calendars and browsers."
)

_BEARER = 'Bearer realm="baizebook"'

BearerDep = Annotated[HTTPAuthorizationCredentials | None, Security(_bearer)]
BasicDep = Annotated[HTTPBasicCredentials | None, Security(_basic)]


@dataclass(frozen=True, slots=True)
class Principal:
    """The holder of a token: its name, person and role, the venue, table or venues it is bound to.

    ``may_post``: an accountant that may post ledger entries.
    """

    id: str
    name: str
    person: str
    role: Role
    venue_id: UUID | None = None
    table_id: UUID | None = None
    venue_ids: frozenset[UUID] | None = None
    may_post: bool = False

    @property
    def rights(self) -> frozenset[Right]:
        """Return what operations may ask of it: its role, and ``poster`` where it may post."""
        return frozenset({self.role, "poster"} if self.may_post else {self.role})

    @property
    def only_venues(self) -> frozenset[UUID] | None:
        """Return the venues that it may see; None for all."""
        if self.role == "device":
            return frozenset()
        return frozenset({self.venue_id}) if self.venue_id is not None else self.venue_ids

    @property
    def only_cash_of(self) -> str | None:
        """Return the person whose collections and bags it may see; None for everybody's."""
        return self.person if self.role == "collector" else None

    def must_see_cash_of(self, *persons: str, what: str = "collection") -> None:
        """Refuse, as absent, a collection that is nobody's of these where another person's cash is not to be seen."""
        if self.only_cash_of is not None and self.only_cash_of not in persons:
            raise not_found(what)

    def must_see_venue(self, venue_id: UUID | None, *, what: str = "venue") -> None:
        """Refuse, as absent, what belongs to a venue that is not the principal's."""
        if self.only_venues is not None and venue_id not in self.only_venues:
            raise not_found(what)


_OF_ENVIRONMENT = Principal("environment", "the owner", "the owner", "owner")


def _challenge(fault: str | None = None) -> dict[str, str]:
    bearer = _BEARER + (f', error="{fault}"' if fault else "")
    # Basic first: a browser reads one challenge from a line, and asks for a password only if that is one it knows.
    return {"WWW-Authenticate": f'Basic realm="baizebook", charset="UTF-8", {bearer}'}


async def find_principal(request: Request, roles: frozenset[Right]) -> Principal:
    """Return the caller, by the headers alone; refuse one without a valid token (401) or without the role (403)."""
    opened = opened_by(request)
    if opened is not None:
        return await _reader_of_sheet(request, opened)
    signed = signed_address(request)
    if signed is not None and "authorization" not in request.headers:
        principal = await _signer_of(request, *signed)
        return _with_role(principal, roles)
    sent = request.headers.getlist("authorization")
    token = await _token_of(request)
    if token is None or len(sent) > 1:
        raise Problem("no_token", headers=_challenge("invalid_request" if sent else None))
    return _with_role(await _holder(request, token), roles)


def _with_role(principal: Principal | None, roles: frozenset[str]) -> Principal:
    if principal is None:
        raise Problem("wrong_token", headers=_challenge("invalid_token"))
    if roles.isdisjoint(principal.rights):
        refusal = f"The role {principal.role} does not include this operation."
        if "poster" in roles and principal.role == "accountant":
            refusal = "This token may not post. An owner can make one for an accountant that may."
        raise Problem("forbidden", refusal, headers={"WWW-Authenticate": f'{_BEARER}, error="insufficient_scope"'})
    return principal


async def _token_of(request: Request) -> str | None:
    """Return the token that a request brings; None of a header that holds none."""
    bearer = await _bearer(request)
    if bearer is not None:
        return bearer.credentials
    try:
        basic = await _basic(request)
    except HTTPException:  # not base64, or no colon in it
        return None
    if basic is None or not basic.password:
        return None
    if request.method not in ("GET", "HEAD") and request.headers.get("sec-fetch-site") in ("cross-site", "same-site"):
        raise Problem("forbidden", "A page of another site may change nothing by a password that the browser keeps.")
    return basic.password


async def _reader_of_sheet(request: Request, opened: Opened) -> Principal:
    """Return who asks by a sheet link; refuse an unknown link, and what was not chosen for it, as absent."""
    transactions: Transactions = request.app.state.transactions

    def look_up(session: Session) -> Principal | None:
        found = find_sheet_link(session, hash_token(opened.secret))
        if found is None or opened.report not in (None, *found[0].reports):
            return None
        row, venues = found
        return Principal(f"sheet {row.id}", row.name, row.name, opened.role, venue_ids=venues or None)

    await transactions.lookups.check_room()
    principal = await transactions.lookups.run(lambda: transactions.read(look_up))
    if principal is None:
        raise not_found("sheet link")
    if opened.report is not None and principal.venue_ids is not None:
        _must_name_a_venue(request, principal)
    return principal


def _must_name_a_venue(request: Request, principal: Principal) -> None:
    """Refuse a report of all venues by a link that is bound to some."""
    asked = request.query_params.getlist("venue_id")
    if not asked:
        expected = "one of the link's venues"
        raise http_problem("invalid", where="query.venue_id", found="nothing", expected=expected)
    for venue_id in asked:
        if venue_id.lower() not in map(str, principal.venue_ids or ()):
            raise not_found("venue")


async def _holder(request: Request, token: str) -> Principal | None:
    owner = request.app.state.settings.owner_token
    if owner is not None and secrets.compare_digest(token.encode(), owner.encode()):
        return _OF_ENVIRONMENT
    now, key = request.app.state.clock(), ("token", hash_token(token))
    kept: ReadCache = request.app.state.kept
    if not kept.needs_thread:
        kept.look()
        if (known := kept.get(key)) is not None:
            request.scope[LOOKED] = True
            return _valid(*known, now=now)

    transactions: Transactions = request.app.state.transactions
    unused: list[UUID] = []

    def look_up(session: Session) -> Principal | None:
        read_at = kept.look()
        row = find_token(session, token, now=now)
        if row is None:
            return None
        principal = _principal(row)
        if row.first_used_at is None:
            unused.append(row.id)
        else:
            kept.put(key, (principal, row.expires_at), read_at=read_at)
        return principal

    def found() -> Principal | None:
        principal = transactions.read(look_up)
        if unused:
            with suppress(
                DBAPIError
            ):  # busy, or its disk is full: the next request notes it, and this one may only read
                transactions.write(lambda session: _note_first_use(session, unused[-1], now=now), stop=Stop())
        return principal

    await transactions.lookups.check_room()
    return await transactions.lookups.run(found)


def _note_first_use(session: Session, token_id: UUID, *, now: datetime) -> None:
    """Note when a token was used first: one transaction in its life."""
    unused = update(TokenRow).where(col(TokenRow.id) == token_id, col(TokenRow.first_used_at).is_(None))
    session.execute(unused.values(first_used_at=now))


def _valid(principal: Principal, expires_at: datetime | None, *, now: datetime) -> Principal | None:
    return None if expires_at is not None and expires_at <= now else principal


async def _signer_of(request: Request, address: str, text: str) -> Principal | None:
    """Return whose token signed the address of a request; None where it opens nothing any more."""
    transactions: Transactions = request.app.state.transactions
    now = request.app.state.clock()

    def look_up(session: Session) -> Principal | None:
        holder = holder_of(session, address, text, now=now)
        if holder == _OF_ENVIRONMENT.id:
            return _OF_ENVIRONMENT if request.app.state.settings.owner_token is not None else None
        row = None if holder is None else session.get(TokenRow, UUID(holder))
        return _principal(row) if row is not None and _is_valid(row, now=now) else None

    await transactions.lookups.check_room()
    return await transactions.lookups.run(lambda: transactions.read(look_up))


def _principal(row: TokenRow) -> Principal:
    role: Role = row.role  # type: ignore[assignment]
    return Principal(str(row.id), row.name, row.person, role, row.venue_id, row.pool_table_id, may_post=row.may_post)


def allow(*roles: Right) -> Any:
    """Return the dependency of an operation that these roles may use; the owner always may.

    ``poster`` is an accountant whose token may post ledger entries.
    ``baizebook.web.operation.Route`` reads the roles and checks them before anything else of a request is read.
    """
    allowed = frozenset(roles) | {"owner"}
    if not allowed <= {*ROLES, "poster"}:
        raise ValueError(f"expected roles among {', '.join(ROLES)}, found {', '.join(sorted(allowed))}")

    async def admit(request: Request, bearer: BearerDep, basic: BasicDep) -> Principal:  # noqa: ARG001 (for the contract)
        principal: Principal = request.state.principal
        return principal

    admit.roles = allowed  # type: ignore[attr-defined]
    return Depends(admit)


OwnerDep = Annotated[Principal, allow()]
CollectorDep = Annotated[Principal, allow("collector")]
CollectorOrReaderDep = Annotated[Principal, allow("collector", "reader")]
CollectorOrVenueDep = Annotated[Principal, allow("collector", "venue")]
AccountantDep = Annotated[Principal, allow("accountant")]
AccountantOrVenueDep = Annotated[Principal, allow("accountant", "venue")]
StaffDep = Annotated[Principal, allow("collector", "accountant")]
StaffOrReaderDep = Annotated[Principal, allow("collector", "accountant", "reader")]
StaffOrVenueDep = Annotated[Principal, allow("collector", "accountant", "venue")]
AnybodyButDevicesDep = Annotated[Principal, allow("collector", "accountant", "venue", "reader")]
AnybodyDep = Annotated[Principal, allow(*ROLES)]


def hash_token(token: str) -> str:
    """Return the hex SHA-256 under which a token is kept."""
    return hashlib.sha256(token.encode()).hexdigest()


def find_token(session: Session, token: str, *, now: datetime) -> TokenRow | None:
    """Return the row of a token that is valid now, or None."""
    row = session.exec(select(TokenRow).where(TokenRow.token_hash == hash_token(token))).first()
    return row if row is not None and _is_valid(row, now=now) else None


def _is_valid(row: TokenRow, *, now: datetime) -> bool:
    return row.revoked_at is None and (row.expires_at is None or row.expires_at > now)
