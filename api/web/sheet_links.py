"""Sheet links: addresses that a cell can open without a header, since most can send none.

- ``/s/<secret>`` is the price grid as CSV; ``/s/<secret>/quotes`` and the other names below are the operations of the
  same name, read only. Nothing else is under a link, and its secret opens nothing else.
- The secret has the form of a token, so that logs and answers blot it out, and is kept as its SHA-256 alone. Answers
  carry ``Referrer-Policy: no-referrer``: a browser passes the address on to nobody.
- A link acts as a reader, in reports that were chosen for it as who may read them. A link of some venues sees these
  alone: a report of all venues then has to be asked with the ``venue_id`` of one.
- An unknown or revoked secret is 404, like any address that is not there.
"""

import re
from dataclasses import dataclass
from typing import Literal
from uuid import UUID

from fastapi import Request
from sqlmodel import Session, col, select
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .redaction import TOKEN_PREFIX
from .rows import Role, SheetLinkRow, SheetLinkVenueRow

SheetReport = Literal["worklist", "tables", "earnings"]

_ADDRESS = re.compile(
    rf"/s/(?P<secret>{TOKEN_PREFIX}[A-Za-z0-9_-]{{16,80}})(?:/(?P<part>[a-z-]+|venues/[0-9a-fA-F-]{{36}}/week\.ics))?"
)
_PARTS: dict[str, tuple[str, Role]] = {
    "price-grid": ("/v1/price-grid", "reader"),
    "quotes": ("/v1/quotes", "reader"),
    "worklist": ("/v1/worklist", "reader"),
    "tables": ("/v1/tables", "collector"),
    "earnings": ("/v1/reports/earnings", "accountant"),
}
_CHOSEN = frozenset({"worklist", "tables", "earnings"})
_KEY = "sheet_link"


@dataclass(frozen=True, slots=True)
class Opened:
    """A request that came by a sheet link: the secret, and what it opens."""

    secret: str
    part: str

    @property
    def path(self) -> str:
        """Return the path by which the caller came: an address in the answer must be one that the caller can open."""
        return f"/s/{self.secret}/{self.part}"

    @property
    def role(self) -> Role:
        """Return the role as which the link acts there."""
        return _PARTS[self.part][1] if self.part in _PARTS else "reader"

    @property
    def report(self) -> str | None:
        """Return the report that must have been chosen for the link; None of what every link has."""
        return self.part if self.part in _CHOSEN else None


class SheetLinks:
    """ASGI middleware: hands a request for a sheet link on as one for the operation behind it."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        found = _ADDRESS.fullmatch(scope["path"]) if scope["type"] == "http" else None
        part = (found["part"] or "price-grid") if found else ""
        if found is None or (part not in _PARTS and "/" not in part) or scope["method"] not in ("GET", "HEAD"):
            await self.app(scope, receive, send)
            return
        path = _PARTS[part][0] if part in _PARTS else f"/v1/{part}"
        query: bytes = scope["query_string"]
        if found["part"] is None and b"format=" not in query:
            query = query + b"&format=csv" if query else b"format=csv"
        state = scope.setdefault("state", {})
        state[_KEY] = Opened(found["secret"], part)
        headers = [(name, value) for name, value in scope["headers"] if name != b"authorization"]
        inner = {
            **scope,
            "path": path,
            "raw_path": path.encode(),
            "query_string": query,
            "state": state,
            "headers": headers,
        }

        async def private(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message)["Referrer-Policy"] = "no-referrer"
            await send(message)

        await self.app(inner, receive, private)


def opened_by(request: Request) -> Opened | None:
    """Return the sheet link by which a request came; None where it came by its own address."""
    opened: Opened | None = request.scope.get("state", {}).get(_KEY)
    return opened


def find_sheet_link(session: Session, secret_hash: str) -> tuple[SheetLinkRow, frozenset[UUID]] | None:
    """Return the link that has this secret and is not revoked, with the venues it is bound to (empty: all)."""
    row = session.exec(select(SheetLinkRow).where(SheetLinkRow.secret_hash == secret_hash)).first()
    if row is None or row.revoked_at is not None:
        return None
    return row, venues_of_links(session, [row.id]).get(row.id, frozenset())


def venues_of_links(session: Session, link_ids: list[UUID]) -> dict[UUID, frozenset[UUID]]:
    """Return the venues to which each of some links is bound."""
    query = select(SheetLinkVenueRow).where(col(SheetLinkVenueRow.sheet_link_id).in_(link_ids))
    found: dict[UUID, set[UUID]] = {}
    for row in session.exec(query).all():
        found.setdefault(row.sheet_link_id, set()).add(row.venue_id)
    return {link_id: frozenset(venues) for link_id, venues in found.items()}
