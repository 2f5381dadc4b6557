"""Pages over HTTP: ``?limit=&after=``, answered with ``items``, ``next`` and a ``Link`` header."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Generic, TypeVar
from urllib.parse import urlencode
from uuid import UUID

from fastapi import Depends, Query, Request, Response
from pydantic import BaseModel

from .pagination import Page, write_page
from .schema_types import INT64_MAX, Id
from .sheet_links import opened_by

K = TypeVar("K")
M = TypeVar("M", bound=BaseModel)
P = TypeVar("P", bound=BaseModel)
R = TypeVar("R")
Limit = Annotated[
    int, Query(ge=1, le=500, description="How many items at most; a page of more than 1 MB ends earlier.")
]

After = Annotated[Id | None, Query(description="The `next` of the page before.")]

AfterNumber = Annotated[
    int, Query(ge=0, le=INT64_MAX, description="The number of the last item that you have; 0 for all from the start.")
]
"""Where a page of a feed begins (see ``baizebook.web.feed``)."""


def link_next(request: Request, response: Response, next_: object | None) -> None:
    """Point to the next page in the ``Link`` header (RFC 8288), by the sheet link if the request came by one."""
    if next_ is not None:
        query = urlencode({**dict(request.query_params), "after": str(next_)})
        opened = opened_by(request)
        path = request.url.path if opened is None else opened.path
        response.headers["Link"] = f'<{path}?{query}>; rel="next"'


@dataclass(frozen=True, slots=True)
class AskedPage(Generic[K]):
    """The page of a list that a request asks for: how many items, and after which one."""

    request: Request
    response: Response
    limit: int
    after: K

    def write(self, kind: type[P], found: Page[R], write: Callable[[Sequence[R]], Sequence[M | None]]) -> P:
        """Return the page with its rows written as messages, as many as it may hold, and link to the next one."""
        page = write_page(found, write)
        link_next(self.request, self.response, page.next)
        return kind(items=list(page.rows), next=page.next)


async def asked_page(
    request: Request, response: Response, limit: Limit = 100, after: After = None
) -> AskedPage[UUID | None]:
    """Return the page of a list that a request asks for."""
    return AskedPage(request, response, limit, after)


async def asked_of_feed(
    request: Request, response: Response, limit: Limit = 100, after: AfterNumber = 0
) -> AskedPage[int]:
    """Return the page of a feed that a request asks for."""
    return AskedPage(request, response, limit, after)


PageDep = Annotated[AskedPage[UUID | None], Depends(asked_page)]
FeedDep = Annotated[AskedPage[int], Depends(asked_of_feed)]
