"""Listens to all that is asked of a database: on SQLite a process reads and writes by engines of their own."""

from collections.abc import Callable
from typing import Any

from sqlalchemy import Engine, event


def engines_of(engine: Engine) -> tuple[Engine, ...]:
    """Return the engines of a database: on SQLite the one that reads and the one that writes, else one alone."""
    writer: Engine | None = engine.get_execution_options().get("writer")
    return (engine,) if writer is None else (engine, writer)


def listen(engine: Engine, name: str, listener: Callable[..., Any]) -> None:
    """Call a listener at each event of this name, whoever reads or writes."""
    for one in engines_of(engine):
        event.listen(one, name, listener)


def unlisten(engine: Engine, name: str, listener: Callable[..., Any]) -> None:
    """Call a listener no more."""
    for one in engines_of(engine):
        event.remove(one, name, listener)
