"""The demo as the command loads it, loaded once for each instant and kind of database, and then copied for each test."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from pathlib import Path

from baizebook.demo.load import hand_out, load
from baizebook.store.db import writing
from baizebook.worklist.service import catch_up
from sqlalchemy import make_url

from tests.conftest import NOON
from tests.databases import postgres_copy, postgres_database, shared_engine, sqlite_database, template_of


@contextmanager
def loaded_demo(now: datetime = NOON, kind: str = "sqlite") -> Iterator[str]:
    """Yield the address of a database with the demo as it is loaded at an instant."""
    if kind == "sqlite":
        with sqlite_database() as url:
            Path(url.removeprefix("sqlite:///")).write_bytes(_sqlite_file(now))
            yield url
    else:
        with postgres_copy(_postgres_template(now)) as url:
            yield url


@cache
def _sqlite_file(now: datetime) -> bytes:
    with sqlite_database() as url:
        _load(url, now)
        return Path(url.removeprefix("sqlite:///")).read_bytes()


@cache
def _postgres_template(now: datetime) -> str:
    with postgres_database() as url:
        _load(url, now)
        return template_of(make_url(url).database or "")


def _load(url: str, now: datetime) -> None:
    engine = shared_engine(url)
    with writing(engine) as session:
        load(session, now=now)
    catch_up(engine, now=now)
    with writing(engine) as session:
        hand_out(session, now=now)
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
