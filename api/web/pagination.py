"""Lists that can be read in pages: ``?limit=&after=``, answered with ``items``, ``next`` and a ``Link`` header.

A page begins after the last id of the one before, so that rows stored meanwhile neither shift nor repeat any.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Generic, TypeVar
from urllib.parse import urlencode
from uuid import UUID

from fastapi import Query, Request, Response
from sqlalchemy import ColumnElement
from sqlalchemy import select as select_columns
from sqlmodel import Session
from sqlmodel.sql.expression import SelectOfScalar

from .schema_types import Id

R = TypeVar("R")

Limit = Annotated[int, Query(ge=1, le=500, description="How many items at most.")]

After = Annotated[Id | None, Query(description="The `next` of the page before.")]


@dataclass(frozen=True, slots=True)
class Page(Generic[R]):
    """Some rows, and the key after which the next page begins (None on the last)."""

    rows: Sequence[R]
    next: Any


def page(
    session: Session,
    query: SelectOfScalar[Any],
    *,
    key: Any,
    limit: int,
    after: UUID | str | None,
    order: Any = None,
) -> Page[Any]:
    """Return the rows of ``query`` that follow the row whose ``key`` (a column that tells rows apart) is ``after``.

    They are in the order of the column ``order``, without it of the key. A row that was recorded later has a higher
    number in ``order``, whatever the clock said: whoever goes on from the last page misses none.
    """
    column: ColumnElement[Any] = key if order is None else order
    if after is not None:
        last = after if order is None else select_columns(order).where(key == after).scalar_subquery()
        query = query.where(column > last)
    rows = session.exec(query.order_by(column).limit(limit + 1)).all()
    name = key.key
    return Page(rows[:limit], getattr(rows[limit - 1], name) if len(rows) > limit else None)


def link_next(request: Request, response: Response, next_: object | None) -> None:
    """Point to the next page in the ``Link`` header (RFC 8288)."""
    if next_ is not None:
        query = urlencode({**dict(request.query_params), "after": str(next_)})
        response.headers["Link"] = f'<{request.url.path}?{query}>; rel="next"'
