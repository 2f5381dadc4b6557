"""Changes that only an unchanged row obeys: ``If-Match`` with its ETag (RFC 9110, 13.1.1)."""

from typing import Any, Protocol, TypeVar, cast
from uuid import UUID

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


def must_match_etag(row: Revised, if_match: str | None) -> None:
    """Refuse a change without ``If-Match`` (428), or one of a row that is no longer as it was seen (412)."""
    if if_match is None:
        raise http_problem("if_match_needed", where="If-Match", found="none", expected="the ETag of the last GET")
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
