"""Tokens as sent and received."""

from typing import Annotated

from pydantic import MISSING, Field

from ..web.rows import Role
from ..web.schema_types import Id, In, Instant, Name, Out, PageOf, Yes
from ..web.sheet_links import SheetReport


class TokenIn(In):
    """A token to make: a venue's names its venue, a device's its table, the others neither.

    A reader sees quotes, prices and work, and no money: a token for cells and calendars.

    One person may have several tokens: what they collect is then theirs, whichever token they use.
    """

    name: Annotated[Name, Field(description="What you call the token, such as Ana's phone.")]
    person: Annotated[
        Name | MISSING, Field(description="Whose token it is, such as Ana; without it, the token's name.")
    ] = MISSING
    role: Annotated[Role, Field(description="What the token may do.")]
    venue_id: Annotated[Id | MISSING, Field(description="Of role venue: the venue.")] = MISSING
    table_id: Annotated[Id | MISSING, Field(description="Of role device: the table.")] = MISSING
    expires_at: Annotated[Instant | MISSING, Field(description="From when on it is refused; without it, never.")] = (
        MISSING
    )
    may_post: Annotated[
        Yes | MISSING, Field(description="Of role accountant: whether it may post ledger entries. Without it, no.")
    ] = MISSING


class NewTokenOut(Out):
    """A token just made: it is shown this once."""

    id: Id
    token: str


class MeOut(Out):
    """The holder of the token that asks, and the names of the operations that its role may use."""

    name: str
    person: str
    role: Role
    venue_id: Id | None
    table_id: Id | None
    may_post: bool
    operations: list[str]


class SheetLinkIn(In):
    """A sheet link to make: read-only, for quotes, the price grid, and the reports chosen."""

    name: Annotated[Name, Field(description="What you call the link, such as Price list in the office.")]
    venue_ids: Annotated[
        list[Id] | MISSING,
        Field(min_length=1, max_length=100, description="The only venues that it sees; without it, all."),
    ] = MISSING
    reports: Annotated[
        list[SheetReport] | MISSING,
        Field(
            max_length=3,
            description="What it shows besides: worklist (without money), tables, earnings. Without it, nothing more.",
        ),
    ] = MISSING


class NewSheetLinkOut(Out):
    """A sheet link just made: its address is shown this once. Whoever has the address can read what it shows."""

    id: Id
    url: str


class SheetLinkOut(Out):
    """A sheet link as listed: never its address. ``venue_ids`` is empty where it sees all venues."""

    id: Id
    name: str
    venue_ids: list[Id]
    reports: list[SheetReport]
    made_at: Instant
    revoked_at: Instant | None


class SheetLinkPage(PageOf[SheetLinkOut]):
    """A page of sheet links."""


class TokenOut(Out):
    """A token as listed: never the token itself."""

    id: Id
    name: str
    person: str
    role: Role
    venue_id: Id | None
    table_id: Id | None
    may_post: bool
    made_at: Instant
    first_used_at: Annotated[Instant | None, Field(description="Null: it was never used, and can be deleted.")]
    expires_at: Instant | None
    revoked_at: Instant | None


class TokenPage(PageOf[TokenOut]):
    """A page of tokens."""
