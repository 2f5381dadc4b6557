"""Pages of a list: a page begins after the last id of the one before, so that rows stored meanwhile neither shift nor repeat any.

How a page is asked for and answered over HTTP is in ``baizebook.web.page_parameters``.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar
from uuid import UUID

from sqlalchemy import ColumnElement
from sqlalchemy import select as select_columns
from sqlmodel import Session
from sqlmodel.sql.expression import SelectOfScalar

R = TypeVar("R")


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
