"""worklist"""

revision = "worklist"
down_revision = "readings"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
