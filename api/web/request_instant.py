"""The instant of a request: the later of the clock and the last recorded instant.

Where the clock has gone back, or is behind another host's, prices in force and records stay in force; the answer says by
how much the clock is behind, in ``Baizebook-Caution``.
"""

from datetime import datetime, timedelta
from typing import Any

from fastapi import Request, Response
from sqlmodel import Session

from ..store.read_cache import NotCached, ReadCache
from ..store.sequence import CLOCKS_AGREE_WITHIN, last_recorded_at

_LAST = "the last recorded instant"


def instant_of_request(*, session: Session, now: datetime, kept: ReadCache | None = None, **_: Any) -> datetime:
    """Return the later of now and the last recorded instant; note in the session how far the clock is behind.

    An operation that answers from memory keeps the last instant there: whatever is committed drops it.
    """
    read_at = 0 if kept is None else kept.look()
    last = None if kept is None else kept.get(_LAST)
    if last is None:
        last = last_recorded_at(session) or now
        if kept is not None:
            kept.put(_LAST, last, read_at=read_at)
    if last - now > CLOCKS_AGREE_WITHIN:
        session.info["behind"] = last - now
    return max(last, now)


def instant_from_memory(request: Request) -> datetime:
    """Return the instant of a request that has looked, and is answered from memory.

    Raises ``NotCached`` where the clock is behind.
    """
    kept: ReadCache = request.app.state.kept
    now: datetime = request.app.state.clock()
    last: datetime | None = kept.get(_LAST)
    if last is None or last - now > CLOCKS_AGREE_WITHIN:
        raise NotCached(_LAST)
    return max(last, now)


def caution(session: Session, response: Response) -> None:
    """Say in an answer how far the clock is behind, where it is."""
    behind: timedelta | None = session.info.get("behind")
    if behind is not None:
        response.headers["Baizebook-Caution"] = (
            f"The service's clock is {behind.total_seconds():.0f} s behind the last recorded instant, which it uses "
            "instead. Set the clock right."
        )
