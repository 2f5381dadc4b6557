"""Tokens and sheet links: made, listed, revoked. Each is 256 random bits, shown once, kept as its SHA-256."""

import secrets
from collections.abc import Collection, Sequence
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, select

from ..store.clock import new_id
from ..web.auth import hash_token
from ..web.errors import http_problem, not_found
from ..web.pagination import Page, page
from ..web.redaction import TOKEN_PREFIX
from ..web.rows import Role, SheetLinkRow, SheetLinkVenueRow, TokenRow
from ..web.sheet_links import venues_of_links
from .schemas import SheetLinkOut, TokenOut


def make_token(
    session: Session,
    *,
    name: str,
    role: Role,
    venue_id: UUID | None,
    table_id: UUID | None,
    expires_at: datetime | None,
    now: datetime,
    person: str | None = None,
    may_post: bool = False,
) -> tuple[UUID, str]:
    """Store a new token and return its id and, this once, the token itself; ``person`` is its name where nobody says."""
    for bound, value, where in (("venue", venue_id, "venue_id"), ("device", table_id, "table_id")):
        if (role == bound) != (value is not None):
            expected = f"an id for the role {bound}" if role == bound else f"nothing for the role {role}"
            raise http_problem("invalid", where=where, found=value or "nothing", expected=expected)
    if may_post and role != "accountant":
        expected = f"false for the role {role}: only an accountant's token is asked whether it may post"
        raise http_problem("invalid", where="may_post", found="true", expected=expected)
    if expires_at is not None and expires_at <= now:
        raise http_problem("invalid", where="expires_at", found=expires_at.isoformat(), expected="an instant to come")
    token = f"{TOKEN_PREFIX}{secrets.token_urlsafe(32)}"
    row = TokenRow(
        id=new_id(),
        name=name,
        person=person or name,
        role=role,
        venue_id=venue_id,
        pool_table_id=table_id,
        may_post=may_post,
        token_hash=hash_token(token),
        made_at=now,
        expires_at=expires_at,
    )
    session.add(row)
    session.flush()
    return row.id, token


def page_tokens(session: Session, *, limit: int, after: UUID | None) -> Page[TokenRow]:
    """Return tokens in the order in which they were made."""
    return page(session, select(TokenRow), key=col(TokenRow.id), limit=limit, after=after)


def must_work_here(session: Session, person: str, *, where: str, now: datetime) -> None:
    """Refuse (``unknown_person``) a person without a token of role owner or collector that is valid now."""
    query = select(TokenRow).where(TokenRow.person == person, col(TokenRow.role).in_(("owner", "collector")))
    rows = session.exec(query).all()
    if any(row.revoked_at is None and (row.expires_at is None or row.expires_at > now) for row in rows):
        return
    found = f"{person}, whose token was revoked or has expired" if rows else person
    expected = "the person of a valid token of role owner or collector"
    raise http_problem("unknown_person", where=where, found=found, expected=expected)


def revoke_token(session: Session, token_id: UUID, *, now: datetime) -> None:
    """Revoke a token at once and for good, and delete one that was never used; revoking it again changes nothing."""
    row = session.exec(select(TokenRow).where(TokenRow.id == token_id).with_for_update()).first()
    if row is None:
        raise not_found("token")
    if row.first_used_at is None:
        session.delete(row)
    else:
        row.revoked_at = row.revoked_at or now
    session.flush()


def token_out(row: TokenRow) -> TokenOut:
    """Write a token's row as its message."""
    return TokenOut(
        id=row.id,
        name=row.name,
        person=row.person,
        role=row.role,
        venue_id=row.venue_id,
        table_id=row.pool_table_id,
        may_post=row.may_post,
        made_at=row.made_at,
        first_used_at=row.first_used_at,
        expires_at=row.expires_at,
        revoked_at=row.revoked_at,
    )


def make_sheet_link(
    session: Session, *, name: str, venue_ids: Collection[UUID], reports: Collection[str], now: datetime
) -> tuple[UUID, str]:
    """Store a new sheet link and return its id and, this once, its secret; ``venue_ids`` empty: it sees all venues."""
    secret = f"{TOKEN_PREFIX}{secrets.token_urlsafe(32)}"
    row = SheetLinkRow(
        id=new_id(), name=name, reports=sorted(set(reports)), secret_hash=hash_token(secret), made_at=now
    )
    session.add(row)
    session.flush()
    session.add_all(SheetLinkVenueRow(sheet_link_id=row.id, venue_id=venue_id) for venue_id in set(venue_ids))
    session.flush()
    return row.id, secret


def page_sheet_links(session: Session, *, limit: int, after: UUID | None) -> Page[SheetLinkRow]:
    """Return sheet links in the order in which they were made."""
    return page(session, select(SheetLinkRow), key=col(SheetLinkRow.id), limit=limit, after=after)


def revoke_sheet_link(session: Session, link_id: UUID, *, now: datetime) -> None:
    """Revoke a sheet link at once and for good; revoking it again changes nothing."""
    row = session.get(SheetLinkRow, link_id)
    if row is None:
        raise not_found("sheet link")
    row.revoked_at = row.revoked_at or now
    session.flush()


def sheet_links_out(session: Session, rows: Sequence[SheetLinkRow]) -> list[SheetLinkOut]:
    """Write sheet links as their messages."""
    venues = venues_of_links(session, [row.id for row in rows])
    return [
        SheetLinkOut.model_validate(
            {
                **row.model_dump(include={"id", "name", "reports", "made_at", "revoked_at"}),
                "venue_ids": sorted(venues.get(row.id, ())),
            }
        )
        for row in rows
    ]
