"""Ways of being careless, for controls: each takes one promise's support away from the service before it starts."""

import gzip
import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import baizebook.store.db
import baizebook.web.body
import baizebook.web.operation
import baizebook.web.transactions
from baizebook.pricing.effort import Stop
from baizebook.store.settings import Settings
from fastapi import Request
from sqlalchemy import Engine
from sqlmodel import Session

LATE_S = 0.3


def answer_first() -> None:
    """Commit what was stored some time after it was answered."""
    properly = baizebook.web.transactions.writing

    @contextmanager
    def writing(engine: Engine, stop: Stop) -> Iterator[Session]:
        context = properly(engine, stop)
        session = context.__enter__()
        try:
            yield session
        except BaseException as error:
            context.__exit__(type(error), error, error.__traceback__)
            raise
        threading.Thread(target=lambda: (time.sleep(LATE_S), context.__exit__(None, None, None))).start()

    baizebook.web.transactions.writing = writing


def hold_nothing() -> None:
    """Let callers that read and then write meet: no held names, and on SQLite many writers with late transactions."""
    prepare, make = baizebook.store.db._prepare_sqlite, baizebook.store.db._sqlite_engine

    def make_many(settings: Settings, **options: Any) -> Engine:
        return make(settings, **{**options, "connections": settings.threads})

    def prepare_late(connection: Any, record: Any, **cache: int) -> None:
        prepare(connection, record, **cache)
        connection.isolation_level = ""  # the driver begins a transaction where something is first written

    baizebook.store.db.lock = lambda *_: None  # type: ignore[assignment]
    baizebook.store.db._prepare_sqlite = prepare_late
    baizebook.store.db._sqlite_engine = make_many
    baizebook.store.db._begin_sqlite = lambda _: None


def sync_less() -> None:
    """Let SQLite sync its log only now and then."""
    baizebook.store.db.SQLITE_PRAGMAS["synchronous"] = "1"


def parse_first() -> None:
    """Read, inflate and parse a body where all requests are handled, before anybody asks who sent it."""
    properly = baizebook.web.operation.find_principal

    async def find_principal(request: Request, roles: frozenset[str]) -> Any:
        body = await request.body()
        if request.headers.get("content-encoding") == "gzip":
            body = gzip.decompress(body)
        with suppress(ValueError):
            json.loads(body)
        return await properly(request, roles)

    baizebook.web.operation.find_principal = find_principal


def let_all_wait() -> None:
    """Tell nobody to come back: who comes waits for a minute."""
    baizebook.web.transactions.WAITING_MAX = 1_000_000
    baizebook.web.transactions.WAIT_S = 60
    baizebook.web.body.BODIES_MAX = 1_000_000


def pass_keys_over() -> None:
    """Take no notice of idempotency keys."""
    baizebook.web.operation.wanted_key = lambda _: None  # type: ignore[assignment]


def never_stop() -> None:
    """Go on with what nobody wants any more."""
    Stop.end = lambda _: None  # type: ignore[method-assign]


def keep_everything() -> None:
    """Remember something of every request for good."""
    properly, kept = baizebook.web.operation.find_principal, []

    async def find_principal(request: Request, roles: frozenset[str]) -> Any:
        kept.append(bytearray(b"x" * 2_000_000))
        return await properly(request, roles)

    baizebook.web.operation.find_principal = find_principal


WAYS: dict[str, Callable[[], Any]] = {
    way.__name__: way
    for way in (
        answer_first,
        hold_nothing,
        pass_keys_over,
        sync_less,
        parse_first,
        let_all_wait,
        never_stop,
        keep_everything,
    )
}
