"""Tax area, legal name, payee and tax number of a venue are dated; what was there holds since ever.

Revision ID: venue_facts
Revises: jobs
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import make_append_only

revision = "venue_facts"
down_revision = "jobs"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "venue_fact",
        sa.Column("venue_id", sa.Uuid(), nullable=False),
        sa.Column("sequence", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=True),
        sa.Column("value", sa.String(), nullable=True),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "name IN ('tax_area', 'legal_name', 'payee', 'tax_number')", name=op.f("ck_venue_fact_name")
        ),
        sa.CheckConstraint("sequence >= 1", name=op.f("ck_venue_fact_sequence")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_venue_fact_venue_id_venue")),
        sa.PrimaryKeyConstraint("venue_id", "sequence", name=op.f("pk_venue_fact")),
    )
    for sequence, name in ((1, "legal_name"), (2, "tax_area")):
        op.execute(
            "INSERT INTO venue_fact (venue_id, sequence, name, from_on, value, recorded_at) "
            f"SELECT id, {sequence}, '{name}', NULL, {name}, made_at FROM venue WHERE {name} <> ''"
        )
    with op.batch_alter_table("venue") as venue:
        venue.drop_constraint(op.f("fk_venue_tax_area_tax_area"), type_="foreignkey")
        venue.drop_column("tax_area")
        venue.drop_column("legal_name")
    same = "venue_id = NEW.venue_id AND sequence = NEW.sequence"
    make_append_only("venue_fact", same=same, function="cash_append_only", by_row=True)


def downgrade() -> None:
    with op.batch_alter_table("venue") as venue:
        venue.add_column(sa.Column("legal_name", sa.String(), nullable=False, server_default=""))
        venue.add_column(sa.Column("tax_area", sa.String(), nullable=True))
    for name in ("legal_name", "tax_area"):
        last = (
            f"SELECT value FROM venue_fact WHERE venue_id = venue.id AND name = '{name}' "
            "ORDER BY from_on IS NULL, from_on DESC, sequence DESC LIMIT 1"
        )
        op.execute(f"UPDATE venue SET {name} = ({last}) WHERE ({last}) IS NOT NULL")
    with op.batch_alter_table("venue") as venue:
        venue.alter_column("legal_name", server_default=None)
        venue.create_foreign_key(op.f("fk_venue_tax_area_tax_area"), "tax_area", ["tax_area"], ["code"])
    op.drop_table("venue_fact")
