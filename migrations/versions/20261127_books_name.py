"""Each venue gets a name in the books, which no account loses when the venue is renamed.

Revision ID: books_name
Revises: price_names
"""

import re
import unicodedata

import sqlalchemy as sa
from alembic import op

revision = "books_name"
down_revision = "price_names"
branch_labels = None
depends_on = None


def _books_name(name: str, taken: set[str]) -> str:
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss")).encode("ascii", "ignore").decode()
    words = re.findall(r"[A-Za-z0-9]+", plain.replace("'", ""))
    stem = "-".join(word[0].upper() + word[1:] for word in words)[:60].rstrip("-") or "Venue"
    number, found = 1, stem
    while found in taken:
        number += 1
        found = f"{stem}-{number}"
    return found


def upgrade() -> None:
    with op.batch_alter_table("venue") as venue:
        venue.add_column(sa.Column("books_name", sa.String(), nullable=False, server_default=""))
    stored = sa.table("venue", sa.column("id", sa.Uuid()), sa.column("name"), sa.column("books_name"))
    connection, taken = op.get_bind(), set[str]()
    for id_, name in connection.execute(sa.select(stored.c.id, stored.c.name).order_by(stored.c.id)).all():
        found = _books_name(name, taken)
        taken.add(found)
        connection.execute(stored.update().where(stored.c.id == id_).values(books_name=found))
    with op.batch_alter_table("venue") as venue:
        venue.alter_column("books_name", server_default=None)
        venue.create_unique_constraint(op.f("uq_venue_books_name"), ["books_name"])


def downgrade() -> None:
    with op.batch_alter_table("venue") as venue:
        venue.drop_constraint(op.f("uq_venue_books_name"), type_="unique")
        venue.drop_column("books_name")
