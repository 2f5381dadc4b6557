"""Webhooks: endpoints, the outbox of what is still to be sent to them, and which work was announced.

Work that is on the list already counts as announced.

Revision ID: webhooks
Revises: token_first_used
"""

import sqlalchemy as sa
from alembic import op

revision = "webhooks"
down_revision = "token_first_used"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "webhook_endpoint",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("url", sa.String(), nullable=False),
        sa.Column("event_types", sa.JSON(), nullable=False),
        sa.Column("venue_ids", sa.JSON(), nullable=True),
        sa.Column("secret", sa.String(), nullable=False),
        sa.Column("previous_secret", sa.String(), nullable=True),
        sa.Column("previous_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("off_since", sa.DateTime(timezone=True), nullable=True),
        sa.Column("off_because", sa.String(), nullable=True),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("failing_since", sa.DateTime(timezone=True), nullable=True),
        sa.Column("rests_until", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("off_because IN ('owner', 'gone', 'failing')", name=op.f("ck_webhook_endpoint_off_because")),
        sa.CheckConstraint("(off_because IS NULL) = (off_since IS NULL)", name=op.f("ck_webhook_endpoint_off")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhook_endpoint")),
    )
    op.create_table(
        "webhook_delivery",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("event_id", sa.Uuid(), nullable=False),
        sa.Column("endpoint_id", sa.Uuid(), nullable=False),
        sa.Column("type", sa.String(), nullable=False),
        sa.Column("subject_id", sa.Uuid(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=True),
        sa.Column("table_id", sa.Uuid(), nullable=True),
        sa.Column("happened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("queued_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("next_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("give_up_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("tried_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("status", sa.Integer(), nullable=True),
        sa.Column("says", sa.String(), nullable=False),
        sa.CheckConstraint("state IN ('waiting', 'delivered', 'gave_up')", name=op.f("ck_webhook_delivery_state")),
        sa.CheckConstraint("(state = 'waiting') = (next_at IS NOT NULL)", name=op.f("ck_webhook_delivery_next")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhook_delivery")),
    )
    op.create_index("ix_webhook_delivery_due", "webhook_delivery", ["endpoint_id", "state", "next_at"])
    op.add_column("work", sa.Column("announced_code", sa.String(), nullable=True))
    op.execute("UPDATE work SET announced_code = code")


def downgrade() -> None:
    op.drop_column("work", "announced_code")
    op.drop_table("webhook_delivery")
    op.drop_table("webhook_endpoint")
