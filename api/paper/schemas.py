"""Signed links to pages as sent and received."""

import re
from typing import Annotated

from pydantic import MISSING, AfterValidator, StrictInt
from pydantic import Field as Limits

from ..web.schema_types import In, Instant, Out

_ID = "[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}"
LINKED_PAGES = re.compile(
    rf"/v1/(venues/{_ID}/((price-card|statement|bag-tags)\.html|week\.(ics|svg))"
    rf"|tables/{_ID}/((settings-sheet|card)\.html|(battery|clock)\.svg)"
    rf"|collections/{_ID}/slip\.html|trips/{_ID}\.html|worklist\.ics|reports/differences\.svg)"
)
"""The addresses of all pages, pictures and calendars: a test holds them to the contract."""


def _a_page(address: str) -> str:
    if not LINKED_PAGES.fullmatch(address.partition("?")[0]):
        raise ValueError("the path of a page, picture or calendar of this service, by the id of what it shows")
    return address


class PageLinkIn(In):
    """The address of a page, picture or calendar, to be opened without a token for some hours."""

    address: Annotated[
        str,
        Limits(
            max_length=500,
            pattern=r"^/v1/[A-Za-z0-9/_-]+\.(html|svg|ics)(\?[A-Za-z0-9=&._%~-]*)?$",
            description="Its path, with its parameters, such as /v1/venues/{venue_id}/price-card.html?paper=letter.",
        ),
        AfterValidator(_a_page),
    ]
    hours: Annotated[
        StrictInt | MISSING, Limits(ge=1, le=168, description="For how many hours it opens; 24 where it is absent.")
    ] = MISSING


class PageLinkOut(Out):
    """A link that opens one page until it expires. Whoever has it sees the page as the holder of your token does."""

    url: str
    expires_at: Instant
