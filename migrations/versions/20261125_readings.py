"""readings"""

revision = "readings"
down_revision = "foundation"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
