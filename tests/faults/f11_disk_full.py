"""F11: the disk is full: what was answered stays, what is refused is a 503, and writing goes on when there is room again.

For SQLite a limit on the size of the server's files stands for the disk: nothing beyond it can be written until it is
lifted, be it to SQLite's log or, when that is tidied up, to the file itself. PostgreSQL keeps its database on a small
file system of its own, which something else fills; where none may be mounted, it is not tried, and that is said.
"""

import json
import os
import resource
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from random import Random
from typing import Protocol
from uuid import uuid4

from baizebook.store import migrate
from baizebook.store.db import make_engine
from sqlalchemy import create_engine, make_url

from tests.databases import postgres_server, settings_for, sqlite_database
from tests.faults.caller import ask
from tests.faults.fault import Fault, check
from tests.faults.nursery import Nursery, nursery
from tests.faults.senders import Clients, sending

BACK_WITHIN_S = 8
FULL_FOR_S = 0.7
SMALL = "48m"


class Disk(Protocol):
    """What can be full, and have room again; how reading may be answered while it is full."""

    reading: frozenset[int]

    def fill(self, server: Nursery, chance: Random) -> None:
        """Leave no room, or hardly any."""

    def empty(self, server: Nursery) -> None:
        """Give the room back."""


class Limit:
    """A limit on the size of the server's files."""

    reading = frozenset({200})

    def fill(self, server: Nursery, chance: Random) -> None:
        """Let its files grow no further than so far."""
        self._set(server, chance.randrange(200_000))

    def empty(self, server: Nursery) -> None:
        """Let its files grow."""
        self._set(server, resource.RLIM_INFINITY)

    @staticmethod
    def _set(server: Nursery, size: int) -> None:
        resource.prlimit(server.server, resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))


class SmallDisk:
    """A file system on which something else takes all the room; there PostgreSQL may be unable to take connections in."""

    reading = frozenset({200, 503})

    def __init__(self, folder: Path) -> None:
        self.other = folder / "other"

    def fill(self, server: Nursery, chance: Random) -> None:  # noqa: ARG002
        """Take all the room, but for a little."""
        with self.other.open("wb", buffering=0) as file:
            with suppress(OSError):
                while True:
                    file.write(bytes(65_536))
            file.truncate(max(file.tell() - chance.randrange(50_000), 1))

    def empty(self, server: Nursery) -> None:  # noqa: ARG002
        """Give it back."""
        self.other.unlink()


def run(chance: Random, rounds: int) -> str:
    """Fill the disk so many times, with more or less written by then."""
    with sqlite_database() as url:
        said = f"SQLite: {_fill_often(url, Limit(), chance, rounds=rounds)}"
    with _on_a_small_disk() as small:
        if small is None:
            return f"{said}; PostgreSQL: not tried, for no file system may be mounted here"
        return f"{said}; PostgreSQL: {_fill_often(small[0], small[1], chance, rounds=rounds)}"


def control(chance: Random) -> None:
    """A service that answers before it commits loses what it answered."""
    with sqlite_database() as url:
        _fill_often(url, Limit(), chance, rounds=4, way="answer_first")


@contextmanager
def _on_a_small_disk() -> Iterator[tuple[str, SmallDisk] | None]:
    """Yield a database of PostgreSQL on a file system of its own, or None where there may be none."""
    folder = Path(tempfile.mkdtemp(prefix="baizebook-f11-"))
    mount = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SMALL}", "none", folder], capture_output=True)
    if mount.returncode:
        folder.rmdir()
        yield None
        return
    name = f"baizebook_{uuid4().hex}"
    admin = create_engine(postgres_server(), isolation_level="AUTOCOMMIT")
    try:
        with admin.connect() as connection:
            owner = Path(str(connection.exec_driver_sql("SHOW data_directory").scalar())).stat()
            (folder / "data").mkdir()
            for path in (folder, folder / "data"):
                os.chown(path, owner.st_uid, owner.st_gid)
            connection.exec_driver_sql(f"CREATE TABLESPACE {name} LOCATION '{folder / 'data'}'")
            connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE template0 TABLESPACE {name}")
        url = make_url(postgres_server()).set(database=name).render_as_string(hide_password=False)
        engine = make_engine(settings_for(url))
        migrate.upgrade(engine)
        engine.dispose()
        yield url, SmallDisk(folder)
    finally:
        with admin.connect() as connection:
            connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
            connection.exec_driver_sql(f"DROP TABLESPACE IF EXISTS {name}")
        admin.dispose()
        subprocess.run(["umount", "-l", folder], check=True)
        with suppress(OSError):
            folder.rmdir()


def _fill_often(url: str, disk: Disk, chance: Random, *, rounds: int, way: str = "") -> str:
    longest = 0.0
    with nursery(url, way=way) as server:
        server.start()
        with sending(url, server.port, chance) as clients:
            for _ in range(rounds):
                time.sleep(chance.uniform(0.1, 0.5))
                disk.fill(server, chance)
                _wait_until_full(clients)
                time.sleep(FULL_FOR_S)
                status, _, _ = ask(server.url, "GET", "/v1/venues")
                check(status in disk.reading, f"while nothing can be written, reading was answered {status}")
                if 503 not in disk.reading:
                    clients.compare()
                disk.empty(server)
                longest = max(longest, clients.wait_for_one(within_s=BACK_WITHIN_S))
                clients.compare()
        check(not sum(one.cut_off for one in clients.each), "a caller was cut off, and not answered 503")
        verdict = json.loads(ask(server.url, "GET", "/v1/ledger/verify")[1])
        check(verdict["ok"], f"the chain does not hold: {verdict}")
    readings, collections = clients.count()
    return (
        f"{rounds} times full: {readings} readings and {collections} collections answered, 0 lost, "
        f"{sum(one.turned_away for one in clients.each)} told to come back (503), back within {longest:.1f} s"
    )


def _wait_until_full(clients: Clients) -> None:
    """Wait until somebody is turned away; a log that begins anew may take a while to come so far."""
    before, until = sum(one.turned_away for one in clients.each), time.monotonic() + 5
    while sum(one.turned_away for one in clients.each) == before and time.monotonic() < until:
        time.sleep(0.01)


FAULT = Fault(name="F11", says="disk full", run=run, control=control, short=3, long=50)
