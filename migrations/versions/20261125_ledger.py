"""ledger"""

revision = "ledger"
down_revision = "worklist"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
