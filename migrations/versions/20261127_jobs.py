"""Jobs: reports of faults, the steps on their way, how they ended and the parts they took. All append-only.

Revision ID: jobs
Revises: books_name
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import drop_function, make_append_only, make_refusal

revision = "jobs"
down_revision = "books_name"
branch_labels = None
depends_on = None

_TABLES = (
    ("job", "id = NEW.id OR arrival = NEW.arrival"),
    ("job_step", "job_id = NEW.job_id AND number = NEW.number"),
    ("job_done", "job_id = NEW.job_id"),
    ("job_part", "job_id = NEW.job_id AND place = NEW.place"),
)
"""Each with what tells that a row is already there."""


def upgrade() -> None:
    op.create_table(
        "job",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("arrival", sa.BigInteger(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=True),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("reported_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("fault", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("playable", sa.Boolean(), nullable=False),
        sa.Column("reported_by", sa.String(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("arrival >= 1", name=op.f("ck_job_arrival")),
        sa.CheckConstraint("length(currency) = 3", name=op.f("ck_job_currency")),
        sa.ForeignKeyConstraint(["pool_table_id"], ["pool_table.id"], name=op.f("fk_job_pool_table_id_pool_table")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_job_venue_id_venue")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
        sa.UniqueConstraint("arrival", name=op.f("uq_job_arrival")),
    )
    for column in ("pool_table_id", "reported_at", "venue_id"):
        op.create_index(op.f(f"ix_job_{column}"), "job", [column])
    op.create_table(
        "job_step",
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.CheckConstraint("number >= 1", name=op.f("ck_job_step_number")),
        sa.CheckConstraint("state IN ('assigned', 'waiting_for_parts')", name=op.f("ck_job_step_state")),
        sa.CheckConstraint("(state = 'assigned') = (person <> '')", name=op.f("ck_job_step_person")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_job_step_job_id_job")),
        sa.PrimaryKeyConstraint("job_id", "number", name=op.f("pk_job_step")),
    )
    op.create_table(
        "job_done",
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("found", sa.String(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=True),
        sa.Column("meters_before", sa.JSON(), nullable=False),
        sa.Column("meters_after", sa.JSON(), nullable=False),
        sa.Column("test_money_minor", sa.BigInteger(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(), nullable=False),
        sa.CheckConstraint("found <> ''", name=op.f("ck_job_done_found")),
        sa.CheckConstraint("minutes >= 0", name=op.f("ck_job_done_minutes")),
        sa.CheckConstraint("test_money_minor >= 0", name=op.f("ck_job_done_test_money")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_job_done_job_id_job")),
        sa.PrimaryKeyConstraint("job_id", name=op.f("pk_job_done")),
    )
    op.create_index(op.f("ix_job_done_done_at"), "job_done", ["done_at"])
    op.create_table(
        "job_part",
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("place", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("cost_minor", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("place >= 0", name=op.f("ck_job_part_place")),
        sa.CheckConstraint("name <> ''", name=op.f("ck_job_part_name")),
        sa.CheckConstraint("cost_minor >= 0", name=op.f("ck_job_part_cost")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_job_part_job_id_job")),
        sa.PrimaryKeyConstraint("job_id", "place", name=op.f("pk_job_part")),
    )
    make_refusal("jobs_append_only")
    for table, same in _TABLES:
        make_append_only(table, same=same, function="jobs_append_only")


def downgrade() -> None:
    for table, _ in reversed(_TABLES):
        op.drop_table(table)
    drop_function("jobs_append_only")
