"""Listens to all that is asked of a database: on SQLite a process reads and writes by engines of their own."""

from collections.abc import Callable
from typing import Any

from baizebook.store.db import engines_of
from sqlalchemy import Engine, event


def listen(engine: Engine, name: str, listener: Callable[..., Any]) -> None:
    """Call a listener at each event of this name, whoever reads or writes."""
    for one in engines_of(engine):
        event.listen(one, name, listener)


def unlisten(engine: Engine, name: str, listener: Callable[..., Any]) -> None:
    """Call a listener no more."""
    for one in engines_of(engine):
        event.remove(one, name, listener)
