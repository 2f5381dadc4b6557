"""cash"""

revision = "cash"
down_revision = "ledger"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
