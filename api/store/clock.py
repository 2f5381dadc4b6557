"""The only reader of the wall clock: instants, and identifiers that sort by when they were made.

Everything else is told the time.
"""

import threading
import time
import uuid
from datetime import UTC, datetime, timedelta

_making = threading.Lock()

_latest = 0


def now() -> datetime:
    """Return this instant, aware, in UTC."""
    return datetime.now(UTC)


def new_id() -> uuid.UUID:
    """Return a UUID of version 7 (RFC 9562, sections 5.7 and 6.2): ids that one process makes later sort later."""
    global _latest
    stamp = time.time_ns() // 1_000_000
    random = uuid.uuid4().int
    value = (stamp & (1 << 48) - 1) << 80 | random & (1 << 80) - 1
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    with _making:
        _latest = max(value, _latest + 1)
        return uuid.UUID(int=_latest)


FUTURE_ALLOWED = timedelta(minutes=5)
