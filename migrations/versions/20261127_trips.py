"""Venues have coordinates; trips with their stops, the work that they were made for, and how they ended: append-only.

Revision ID: trips
Revises: unused_tariffs
"""

import sqlalchemy as sa
from alembic import op
from baizebook.migrations.guards import drop_function, make_append_only, make_refusal

revision = "trips"
down_revision = "unused_tariffs"
branch_labels = None
depends_on = None

_TABLES = {
    "trip": "id = NEW.id",
    "trip_stop": "trip_id = NEW.trip_id AND place = NEW.place",
    "trip_work": "trip_id = NEW.trip_id AND work_id = NEW.work_id",
    "trip_end": "trip_id = NEW.trip_id",
}
_COORDINATES = {
    "latitude": "latitude BETWEEN -90 AND 90",
    "longitude": "longitude BETWEEN -180 AND 180 AND (latitude IS NULL) = (longitude IS NULL)",
}


def upgrade() -> None:
    for name, rule in _COORDINATES.items():  # in place: tables that others refer to are not copied
        op.execute(f"ALTER TABLE venue ADD COLUMN {name} FLOAT CONSTRAINT ck_venue_{name} CHECK ({rule})")
    op.create_table(
        "trip",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("trip_on", sa.Date(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("ordered", sa.String(), nullable=False),
        sa.Column("start_latitude", sa.Float(), nullable=True),
        sa.Column("start_longitude", sa.Float(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.CheckConstraint("ordered IN ('given', 'shortest')", name=op.f("ck_trip_ordered")),
        sa.CheckConstraint("(start_latitude IS NULL) = (start_longitude IS NULL)", name=op.f("ck_trip_start")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trip")),
    )
    op.create_index(op.f("ix_trip_person"), "trip", ["person"])
    op.create_index(op.f("ix_trip_trip_on"), "trip", ["trip_on"])
    op.create_table(
        "trip_stop",
        sa.Column("trip_id", sa.Uuid(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("venue_id", sa.Uuid(), nullable=False),
        sa.Column("empties_all", sa.Boolean(), nullable=False),
        sa.CheckConstraint("place >= 0", name=op.f("ck_trip_stop_place")),
        sa.ForeignKeyConstraint(["trip_id"], ["trip.id"], name=op.f("fk_trip_stop_trip_id_trip")),
        sa.ForeignKeyConstraint(["venue_id"], ["venue.id"], name=op.f("fk_trip_stop_venue_id_venue")),
        sa.PrimaryKeyConstraint("trip_id", "place", name=op.f("pk_trip_stop")),
        sa.UniqueConstraint("trip_id", "venue_id", name=op.f("uq_trip_stop_trip_id_venue_id")),
    )
    op.create_index(op.f("ix_trip_stop_venue_id"), "trip_stop", ["venue_id"])
    op.create_table(
        "trip_work",
        sa.Column("trip_id", sa.Uuid(), nullable=False),
        sa.Column("work_id", sa.Uuid(), nullable=False),
        sa.Column("pool_table_id", sa.Uuid(), nullable=False),
        sa.Column("line", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["trip_id"], ["trip.id"], name=op.f("fk_trip_work_trip_id_trip")),
        sa.ForeignKeyConstraint(
            ["pool_table_id"], ["pool_table.id"], name=op.f("fk_trip_work_pool_table_id_pool_table")
        ),
        sa.PrimaryKeyConstraint("trip_id", "work_id", name=op.f("pk_trip_work")),
    )
    op.create_index(op.f("ix_trip_work_pool_table_id"), "trip_work", ["pool_table_id"])
    op.create_table(
        "trip_end",
        sa.Column("trip_id", sa.Uuid(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_by", sa.String(), nullable=False),
        sa.CheckConstraint("state IN ('done', 'cancelled')", name=op.f("ck_trip_end_state")),
        sa.ForeignKeyConstraint(["trip_id"], ["trip.id"], name=op.f("fk_trip_end_trip_id_trip")),
        sa.PrimaryKeyConstraint("trip_id", name=op.f("pk_trip_end")),
    )
    make_refusal("trip_append_only")
    for table, same in _TABLES.items():
        make_append_only(table, same=same, function="trip_append_only")


def downgrade() -> None:
    for table in reversed(_TABLES):
        op.drop_table(table)
    drop_function("trip_append_only")
    for name in reversed(_COORDINATES):
        op.execute(f"ALTER TABLE venue DROP COLUMN {name}")
