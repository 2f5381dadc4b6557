"""``baizebook token``: make, list and revoke tokens."""

from uuid import UUID

from sqlmodel import Session, select

from ...pool_tables.rows import PoolTableRow
from ...pool_tables.service import get_table
from ...store import clock, migrate
from ...store.db import get_engine, reading, writing
from ...tokens.schemas import TokenPage
from ...tokens.service import make_token, page_tokens, revoke_token, token_out
from ...venues.service import get_venue
from ...venues.service import names as names_of_venues
from ...web.rows import Role, TokenRow
from ..command_database import existing_database, tell_of_a_new_file
from ..found_by_name import named
from ..terminal import say, show_rows

_AT_ONCE = 500
_HEADS = ("name", "person", "role", "for", "made_on", "expires_on", "revoked_on", "id")


def create(*, role: Role, name: str, venue: UUID | None, table: UUID | None) -> None:
    """Make a token for a venue, a table or neither, and print it."""
    tell_of_a_new_file()
    migrate.upgrade(get_engine())
    with writing(get_engine()) as session:
        if venue is not None:
            get_venue(session, venue)
        if table is not None:
            get_table(session, table)
        _, made = make_token(
            session, name=name, role=role, venue_id=venue, table_id=table, expires_at=None, now=clock.now()
        )
    say(made)


def show(*, as_json: bool) -> None:
    """List all tokens, never the tokens themselves: a table, tab-separated lines where piped, or the API's JSON."""
    with reading(existing_database()) as session:
        rows = [token_out(row) for row in _all_tokens(session)]
        venues = names_of_venues(session)
        tables = {str(row.id): row.label for row in session.exec(select(PoolTableRow))}
    if as_json:
        say(TokenPage(items=rows, next=None).model_dump_json(indent=2))
        return
    show_rows(
        _HEADS,
        (
            (
                row.name,
                row.person,
                row.role,
                venues.get(str(row.venue_id), "") or tables.get(str(row.table_id), ""),
                *("" if at is None else f"{at:%Y-%m-%d}" for at in (row.made_at, row.expires_at, row.revoked_at)),
                str(row.id),
            )
            for row in rows
        ),
        title="Tokens",
    )


def revoke(*, token: str) -> None:
    """Revoke a token by its name or id, at once and for good; delete one that was never used."""
    with writing(existing_database()) as session:
        good = {row.id: row for row in _all_tokens(session) if row.revoked_at is None}
        found = good[named({id: row.name for id, row in good.items()}, token, what="token", where="TOKEN")]
        done = "Revoked" if found.first_used_at else "Deleted, for it was never used"
        said = f"{done}: {found.name} ({found.role}, {found.id})."
        revoke_token(session, found.id, now=clock.now())
    say(said)


def _all_tokens(session: Session) -> list[TokenRow]:
    rows: list[TokenRow] = []
    after: UUID | None = None
    while True:
        found = page_tokens(session, limit=_AT_ONCE, after=after)
        rows += found.rows
        if found.next is None:
            return rows
        after = rows[-1].id
