"""HTTP for tokens and sheet links."""

from uuid import UUID

from fastapi import APIRouter, Request

from ..pool_tables.service import get_table
from ..venues.service import get_venue
from ..web.auth import AnybodyDep, OwnerDep
from ..web.dependencies import NowDep, SessionDep, shows_token
from ..web.openapi import problems
from ..web.operation import Route, operations_for
from ..web.page_parameters import PageDep
from ..web.schema_types import Id, value_or
from . import service
from .schemas import (
    MeOut,
    NewSheetLinkOut,
    NewTokenOut,
    SheetLinkIn,
    SheetLinkPage,
    TokenIn,
    TokenPage,
)

router = APIRouter(prefix="/v1", tags=["tokens"], route_class=Route)


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
        may_post=value_or(token.may_post, False),
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
        may_post=principal.may_post,
        operations=operations_for(request.app, principal.rights),
    )


@router.get("/tokens", responses=problems())
def list_tokens(asked: PageDep, session: SessionDep, principal: OwnerDep) -> TokenPage:
    """List the tokens in the order in which they were made; never the tokens themselves."""
    found = service.page_tokens(session, limit=asked.limit, after=asked.after)
    return asked.write(TokenPage, found, lambda rows: [service.token_out(row) for row in rows])


@router.delete("/tokens/{token_id}", status_code=204, responses=problems())
def revoke_token(session: SessionDep, principal: OwnerDep, now: NowDep, token_id: Id) -> None:
    """Revoke a token: it is refused from now on. One that was never used, made by mistake, is deleted."""
    service.revoke_token(session, token_id, now=now)


@router.post("/sheet-links", status_code=201, responses=problems(409))
@shows_token
def create_sheet_link(
    request: Request, session: SessionDep, principal: OwnerDep, now: NowDep, link: SheetLinkIn
) -> NewSheetLinkOut:
    """Make a sheet link: an address for cells, which can send no header. It is shown in this answer and never again.

    The address itself is the price grid as CSV. Below it are `/quotes` and `/price-grid`, with the parameters of these
    operations, `/venues/{venue_id}/week.ics`, and the reports chosen: `/worklist`, `/tables`, `/earnings`. Whoever has
    the address reads them: make one for each sheet, and revoke it when the sheet goes out of use.
    """
    venue_ids: list[UUID] = value_or(link.venue_ids, [])
    for venue_id in venue_ids:
        get_venue(session, venue_id)
    link_id, secret = service.make_sheet_link(
        session, name=link.name, venue_ids=venue_ids, reports=value_or(link.reports, []), now=now
    )
    return NewSheetLinkOut(id=link_id, url=f"{str(request.base_url).rstrip('/')}/s/{secret}")


@router.get("/sheet-links", responses=problems())
def list_sheet_links(asked: PageDep, session: SessionDep, principal: OwnerDep) -> SheetLinkPage:
    """List the sheet links in the order in which they were made; never their addresses."""
    found = service.page_sheet_links(session, limit=asked.limit, after=asked.after)
    return asked.write(SheetLinkPage, found, lambda rows: service.sheet_links_out(session, rows))


@router.delete("/sheet-links/{sheet_link_id}", status_code=204, responses=problems())
def revoke_sheet_link(session: SessionDep, principal: OwnerDep, now: NowDep, sheet_link_id: Id) -> None:
    """Revoke a sheet link: its address is not found from now on."""
    service.revoke_sheet_link(session, sheet_link_id, now=now)
