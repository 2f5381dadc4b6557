"""The only reader of the wall clock: instants, and identifiers that sort by when they were made.

Everything else receives the time.
"""

import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime

_making = threading.Lock()
_latest = 0
_chosen: ContextVar[list[uuid.UUID] | None] = ContextVar("chosen", default=None)


def now() -> datetime:
    """Return this instant, aware, in UTC."""
    return datetime.now(UTC)


def new_id() -> uuid.UUID:
    """Return a UUID of version 7 (RFC 9562, sections 5.7 and 6.2): ids that one process makes later sort later."""
    global _latest
    if chosen := _chosen.get():
        return chosen.pop()
    stamp = time.time_ns() // 1_000_000
    random = uuid.uuid4().int
    value = (stamp & (1 << 48) - 1) << 80 | random & (1 << 80) - 1
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    with _making:
        _latest = max(value, _latest + 1)
        return uuid.UUID(int=_latest)


@contextmanager
def next_id(chosen: uuid.UUID) -> Iterator[None]:
    """Let the first ``new_id()`` inside be this one: the demo has ids that the contract's examples can name."""
    ids = [chosen]
    token = _chosen.set(ids)
    try:
        yield
    finally:
        _chosen.reset(token)
    if ids:
        raise RuntimeError(f"nothing was made that took the id {chosen}")
