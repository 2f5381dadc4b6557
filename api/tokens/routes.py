"""HTTP for tokens."""

from typing import Annotated

from fastapi import APIRouter, Request, Response

from ..pool_tables.service import get_table
from ..venues.service import get_venue
from ..web.auth import OwnerDep, Principal, allow
from ..web.dependencies import NowDep, SessionDep, shows_token
from ..web.openapi import problems
from ..web.operation import Route, operations_for
from ..web.pagination import After, Limit, link_next
from ..web.schema_types import Id, value_or
from . import service
from .schemas import MeOut, NewTokenOut, TokenIn, TokenPage

router = APIRouter(prefix="/v1", tags=["tokens"], route_class=Route)
AnybodyDep = Annotated[Principal, allow("collector", "accountant", "venue", "device", "reader")]


@router.post("/tokens", status_code=201, responses=problems(409))
@shows_token
def create_token(session: SessionDep, principal: OwnerDep, now: NowDep, token: TokenIn) -> NewTokenOut:
    """Make a token; it is shown in this answer and never again."""
    venue_id, table_id = value_or(token.venue_id, None), value_or(token.table_id, None)
    if venue_id is not None:
        get_venue(session, venue_id)
    if table_id is not None:
        get_table(session, table_id)
    token_id, text = service.make_token(
        session,
        name=token.name,
        person=value_or(token.person, None),
        role=token.role,
        venue_id=venue_id,
        table_id=table_id,
        expires_at=value_or(token.expires_at, None),
        now=now,
    )
    return NewTokenOut(id=token_id, token=text)


@router.get("/me", responses=problems())
def get_me(request: Request, principal: AnybodyDep) -> MeOut:
    """Return the holder of the token: name, person, role, the venue or table it is bound to, and what it may do.

    `operations` are names of operations, as the contract has them. What a token may not see is 404 all the same.
    """
    return MeOut(
        name=principal.name,
        person=principal.person,
        role=principal.role,
        venue_id=principal.venue_id,
        table_id=principal.table_id,
        operations=operations_for(request.app, principal.role),
    )


@router.get("/tokens", responses=problems())
def list_tokens(
    request: Request,
    response: Response,
    session: SessionDep,
    principal: OwnerDep,
    limit: Limit = 100,
    after: After = None,
) -> TokenPage:
    """List the tokens in the order in which they were made; never the tokens themselves."""
    found = service.page_tokens(session, limit=limit, after=after)
    link_next(request, response, found.next)
    return TokenPage(items=[service.token_out(row) for row in found.rows], next=found.next)


@router.delete("/tokens/{token_id}", status_code=204, responses=problems())
def revoke_token(session: SessionDep, principal: OwnerDep, now: NowDep, token_id: Id) -> None:
    """Revoke a token: it is refused from now on."""
    service.revoke_token(session, token_id, now=now)
