"""F16: SIGTERM under load drops no accepted call and ends within 10 seconds; migrations keep what they do not own."""

import signal
import subprocess
import time
from datetime import UTC, datetime
from random import Random

from alembic.script import ScriptDirectory
from baizebook.demo.load import load
from baizebook.store import migrate
from baizebook.store.db import make_engine, writing
from sqlalchemy import Engine, inspect, text

from tests.databases import postgres_database, settings_for, sqlite_database
from tests.faults.caller import writers
from tests.faults.fault import Fault, check
from tests.serving import free_port, start

WRITERS = 8
EXIT_WITHIN_S = 10


def run(chance: Random, rounds: int) -> str:
    """Stop a busy service again and again, alternately on each database; then walk through the migrations with data."""
    longest = 0.0
    for number in range(rounds):
        with sqlite_database() if number % 2 else postgres_database() as url:
            longest = max(longest, _stop(url, signal.SIGTERM, chance))
    for database in (sqlite_database, postgres_database):
        with database() as url:
            _walk(url)
    return f"{rounds} SIGTERMs under {WRITERS} writers: 0 accepted calls dropped, the longest exit took {longest:.1f} s"


def control(chance: Random) -> None:
    """SIGKILL takes what was stored and not yet answered; some of so many times it hits one."""
    for _ in range(40):
        with sqlite_database() as url:
            _stop(url, signal.SIGKILL, chance)


def _stop(url: str, how: signal.Signals, chance: Random) -> float:
    """Stop a busy service at a moment of chance; what is stored and what was answered must be the same."""
    port = free_port()
    process = start(url, port=port)
    with writers(port, WRITERS) as busy:
        busy.wait_for(chance.randint(1, 60))
        time.sleep(chance.random() * 0.02)
        began = time.monotonic()
        process.send_signal(how)
        try:
            process.wait(EXIT_WITHIN_S)
        except subprocess.TimeoutExpired:
            process.kill()
            check(False, f"the service did not end within {EXIT_WITHIN_S} s")
        took = time.monotonic() - began
        busy.stopping.set()
    engine = make_engine(settings_for(url))
    with engine.connect() as connection:
        stored = set(connection.execute(text("SELECT name FROM venue")).scalars())
    engine.dispose()
    check(busy.answered <= stored, f"{len(busy.answered - stored)} answered calls are not stored")
    check(stored <= busy.answered, f"{len(stored - busy.answered)} accepted calls were never answered")
    return took


def _walk(url: str) -> None:
    """Take each migration back and apply it again with data in the database; the others' rows stay as they were."""
    engine = make_engine(settings_for(url))
    with writing(engine) as session:
        load(session, now=datetime(2026, 11, 25, 17, tzinfo=UTC))
    revisions = [script.revision for script in ScriptDirectory.from_config(migrate.config_for()).walk_revisions()]
    for below in revisions[1:]:
        before = _rows(engine)
        try:
            migrate.downgrade(engine, below)
        except RuntimeError as refusal:  # books cannot go back to a version that does not know what is in them
            check("the version before cannot" in str(refusal), f"back to {below}: {refusal}")
            check(_rows(engine) == before, f"back to {below}: refused, and rows have changed")
            break
        kept = _rows(engine)
        check(_same(before, kept), f"back to {below}: rows have changed")
        migrate.upgrade(engine)
        check(_same(_rows(engine), kept), f"up again from {below}: rows have changed")
        check(set(_rows(engine)) == set(before), f"up again from {below}: not the same tables")
    engine.dispose()


Columns = dict[str, list[str]]
_NOT_COMPARED = {"alembic_version", "counter"}
"""The revision, and the counters, which a migration makes anew from the numbers in the rows."""


def _rows(engine: Engine) -> dict[str, Columns]:
    """Return every table's values, column by column."""
    found: dict[str, Columns] = {}
    with engine.connect() as connection:
        for name in set(inspect(connection).get_table_names()) - _NOT_COMPARED:
            result = connection.execute(text(f'SELECT * FROM "{name}"'))
            columns, rows = list(result.keys()), result.all()
            found[name] = {column: sorted(str(row[i]) for row in rows) for i, column in enumerate(columns)}
    return found


def _same(ours: dict[str, Columns], theirs: dict[str, Columns]) -> bool:
    """Tell whether two revisions hold the same values in the columns that both have."""
    return all(
        ours[name][column] == theirs[name][column]
        for name in ours.keys() & theirs.keys()
        for column in ours[name].keys() & theirs[name].keys()
    )


FAULT = Fault(name="F16", says="SIGTERMs, migrations", run=run, control=control, short=4, long=100)
