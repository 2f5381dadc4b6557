"""Signed links to pages as sent and received."""

from typing import Annotated

from pydantic import MISSING, StrictInt
from pydantic import Field as Limits

from ..web.schema_types import In, Instant, Out


class PageLinkIn(In):
    """The address of a page, picture or calendar, to be opened without a token for some hours."""

    address: Annotated[
        str,
        Limits(
            max_length=500,
            pattern=r"^/v1/[A-Za-z0-9/_-]+\.(html|svg|ics)(\?[A-Za-z0-9=&._%~-]*)?$",
            description="Its path, with its parameters, such as /v1/venues/{venue_id}/price-card.html?paper=letter.",
        ),
    ]
    hours: Annotated[
        StrictInt | MISSING, Limits(ge=1, le=168, description="For how many hours it opens; 24 where it is absent.")
    ] = MISSING


class PageLinkOut(Out):
    """A link that opens one page until it expires. Whoever has it sees the page as the holder of your token does."""

    url: str
    expires_at: Instant
