"""Pages of a list: a page begins after the last id of the one before, so that rows stored meanwhile neither shift nor repeat any.

It ends with ``limit`` items, or before its items take more than ``PAGE_BYTES_MAX`` bytes: a page may be shorter than
asked for. How a page is asked for and answered over HTTP is in ``baizebook.web.page_parameters``.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any, Generic, TypeVar
from uuid import UUID

from pydantic import BaseModel
from sqlalchemy import ColumnElement
from sqlalchemy import select as select_columns
from sqlmodel import Session
from sqlmodel.sql.expression import SelectOfScalar

R = TypeVar("R")
M = TypeVar("M", bound=BaseModel)

PAGE_BYTES_MAX = 1_000_000
"""The bytes of JSON that the items of a page may take, unless it has only one."""


@dataclass(frozen=True, slots=True)
class Page(Generic[R]):
    """Some rows, and the key after which the next page begins (None on the last).

    ``key`` returns the key of a row.
    """

    rows: Sequence[R]
    next: Any
    key: Callable[[Any], Any] = attrgetter("id")


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
    key_of = attrgetter(key.key)
    return Page(rows[:limit], key_of(rows[limit - 1]) if len(rows) > limit else None, key_of)


def write_page(found: Page[R], write: Callable[[Sequence[R]], Sequence[M | None]]) -> Page[M]:
    """Write rows as messages, one a row, as many as a page may hold; None is a row that is not for the caller.

    Rows are written one, two, four … at a time, so that few are written in vain.
    """
    items: list[M] = []
    size_bytes = done = 0
    while done < len(found.rows):
        rows = found.rows[done : done + max(1, done)]
        messages = write(rows)
        if len(messages) != len(rows):
            raise ValueError(f"{len(rows)} rows became {len(messages)} messages")
        for item in messages:
            size_bytes += 0 if item is None else len(item.model_dump_json())
            if done and size_bytes > PAGE_BYTES_MAX:
                return Page(items, found.key(found.rows[done - 1]))
            items += [] if item is None else [item]
            done += 1
    return Page(items, found.next)
