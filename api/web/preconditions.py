"""ETags: changes that only an unchanged row obeys (``If-Match``), and answers that are sent only once (``If-None-Match``).

An answer without an ETag of its own gets a weak one from its bytes: ask again with it, and an answer that is the same is
304 without a body (RFC 9110, 13.1.2).
"""

from hashlib import sha256
from typing import Any, Protocol, TypeVar, cast
from uuid import UUID

from fastapi import Request, Response
from sqlalchemy import CursorResult
from sqlmodel import Session

from .errors import Problem, http_problem


class Revised(Protocol):
    """A row that counts its changes."""

    id: UUID
    revision: int


R = TypeVar("R", bound=Revised)


def etag_of(row: Revised) -> str:
    """Return the entity tag of a row's present state."""
    return f'"{row.revision}"'


def if_modified(request: Request, response: Response) -> Response:
    """Return an answer to a GET with its ETag, or 304 where the client has it already."""
    if request.method != "GET" or response.status_code != 200:
        return response
    tag = response.headers.get("ETag") or f'W/"{sha256(bytes(response.body)).hexdigest()[:32]}"'
    response.headers["ETag"] = tag
    known = [one.strip().removeprefix("W/") for one in request.headers.get("if-none-match", "").split(",")]
    if tag.removeprefix("W/") not in known and "*" not in known:
        return response
    kept = ("etag", "link", "content-security-policy", "referrer-policy", "vary")
    return Response(
        status_code=304, headers={name: response.headers[name] for name in kept if name in response.headers}
    )


def must_match(row: Revised, if_match: str | None) -> None:
    """Refuse a change without ``If-Match`` (428), or one of a row that is no longer as it was seen (412)."""
    if if_match is None:
        raise Problem("if_match_needed")
    tags = [tag.strip().removeprefix("W/") for tag in if_match.split(",")]
    if if_match.strip() != "*" and etag_of(row) not in tags:
        raise http_problem("precondition_failed", where="If-Match", found=if_match[:80], expected=etag_of(row))


def apply_change(session: Session, row: R, values: dict[str, Any]) -> R:
    """Write values into a row, by a statement that only an unchanged row obeys."""
    model: Any = type(row)
    revision = row.revision
    statement = (
        model.__table__.update()
        .where(model.__table__.c.id == row.id, model.__table__.c.revision == revision)
        .values(**values, revision=revision + 1)
    )
    if cast(CursorResult[Any], session.execute(statement)).rowcount != 1:
        raise Problem("precondition_failed")
    session.refresh(row)
    return row
