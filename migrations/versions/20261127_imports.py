"""Lines of imports, and shapes of files.

Revision ID: imports
Revises: feeds
"""

import sqlalchemy as sa
from alembic import op

revision = "imports"
down_revision = "feeds"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "import_line",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("subject_id", sa.Uuid(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("imported_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("revision >= 1", name=op.f("ck_import_line_revision")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_import_line")),
    )
    op.create_table(
        "import_shape",
        sa.Column("shape", sa.String(), nullable=False),
        sa.Column("columns", sa.JSON(), nullable=False),
        sa.Column("dates", sa.String(), nullable=True),
        sa.Column("decimals", sa.String(), nullable=True),
        sa.Column("imported_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("shape", name=op.f("pk_import_shape")),
    )


def downgrade() -> None:
    op.drop_table("import_shape")
    op.drop_table("import_line")
