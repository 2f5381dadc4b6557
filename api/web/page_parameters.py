"""Pages over HTTP: ``?limit=&after=``, answered with ``items``, ``next`` and a ``Link`` header."""

from typing import Annotated
from urllib.parse import urlencode

from fastapi import Query, Request, Response

from .schema_types import INT64_MAX, Id
from .sheet_links import opened_by

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
