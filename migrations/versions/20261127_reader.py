"""Tokens of the role reader: quotes, prices and work, no money.

Revision ID: reader
Revises: completions
"""

from alembic import op

revision = "reader"
down_revision = "completions"
branch_labels = None
depends_on = None

_BEFORE = "'owner', 'collector', 'accountant', 'venue', 'device'"


def upgrade() -> None:
    _allow(f"{_BEFORE}, 'reader'")


def downgrade() -> None:
    op.execute("DELETE FROM token WHERE role = 'reader'")
    _allow(_BEFORE)


def _allow(roles: str) -> None:
    with op.batch_alter_table("token") as token:
        token.drop_constraint(op.f("ck_token_role"), type_="check")
        token.create_check_constraint(op.f("ck_token_role"), f"role IN ({roles})")
