"""A sweep over all tables (``baizebook assess``), 50 readings each, against reading the same rows.

Every table has a battery, a clock, two meters and 50 readings of all three. A sweep judges each by its history and compares its
work with what is stored; the other side reads the same readings, all columns, for as many tables at a time, by
SQLAlchemy Core, and does nothing with them: less than reading its facts no judgement can take. The work of all tables
is stored before, as on every day but the first. Both are processor time of this process, on SQLite; what was made before is
not looked through for garbage, as in the command.
"""

import gc
import os
from collections.abc import Iterator, Sequence
from functools import partial
from uuid import UUID

from baizebook.pool_tables.rows import PoolTableRow
from baizebook.readings.rows import READING
from baizebook.store.db import make_engine
from baizebook.worklist.service import TABLES_AT_ONCE_MAX, sweep
from sqlalchemy import Engine, select
from sqlmodel import col

from tests.benchmarks._route import NOW, Size, fill
from tests.benchmarks.figure import Figure, compare, cpu_seconds
from tests.databases import settings_for, sqlite_database

TABLES_OF_A_VENUE, READINGS = 4, 50
VENUES = int(os.environ.get("BAIZEBOOK_BENCHMARK_VENUES", "2500"))


def run(*, rounds: int) -> Iterator[Figure]:
    """Sweep and read in turn."""
    size = Size(venues=VENUES, tables=TABLES_OF_A_VENUE, collections=0, readings=READINGS)
    with sqlite_database() as url:
        fill([url], size)
        engine = make_engine(settings_for(url))
        with engine.connect() as connection:
            ids = connection.execute(select(col(PoolTableRow.id)).order_by(col(PoolTableRow.id))).scalars().all()
        _sweep(engine, ids)
        gc.collect()
        gc.freeze()
        figure = Figure("N12", "a table swept", "its readings read", 5.0)
        yield compare(
            figure,
            lambda: cpu_seconds(partial(_sweep, engine, ids), pieces=len(ids)),
            lambda: cpu_seconds(partial(_read, engine, ids), pieces=len(ids)),
            rounds=rounds,
        )
        gc.unfreeze()
        engine.dispose()


def _sweep(engine: Engine, ids: Sequence[UUID]) -> None:
    after, swept = None, 0
    while (after := sweep(engine, after=after, now=NOW)) is not None:
        swept += TABLES_AT_ONCE_MAX
    if not len(ids) <= swept < len(ids) + TABLES_AT_ONCE_MAX:
        raise SystemExit(f"{swept} of {len(ids)} tables were swept")


def _read(engine: Engine, ids: Sequence[UUID]) -> None:
    read = 0
    with engine.connect() as connection:
        for place in range(0, len(ids), TABLES_AT_ONCE_MAX):
            some = READING.c.pool_table_id.in_(ids[place : place + TABLES_AT_ONCE_MAX])
            read += len(connection.execute(select(READING).where(some).order_by(READING.c.taken_at)).all())
    if read != READINGS * len(ids):
        raise SystemExit(f"{read} readings were read")
