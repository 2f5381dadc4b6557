"""What an operation depends on: its session, its instant, and what marks its transaction."""

from datetime import datetime
from typing import Annotated, TypeVar

from fastapi import Depends, Request
from sqlmodel import Session


async def this_instant(request: Request) -> datetime:
    """Return the instant by the application's clock: it has ``now`` for one, a test another."""
    instant: datetime = request.app.state.clock()
    return instant


NowDep = Annotated[datetime, Depends(this_instant)]
F = TypeVar("F")


def stores_nothing(endpoint: F) -> F:
    """Mark a POST that only computes: its session reads."""
    endpoint.stores_nothing = True  # type: ignore[attr-defined]
    return endpoint


def catches_up(endpoint: F) -> F:
    """Mark a GET that first brings up to date what it then reads: its session writes."""
    endpoint.catches_up = True  # type: ignore[attr-defined]
    return endpoint


def shows_token(endpoint: F) -> F:
    """Mark a POST whose answer shows a token: it is never kept."""
    endpoint.shows_token = True  # type: ignore[attr-defined]
    return endpoint


def writes(request: Request) -> bool:
    """Tell whether a request may store something: all but GET, what catches up, and what ``stores_nothing``."""
    endpoint = request.scope.get("endpoint")
    if request.method in ("GET", "HEAD"):
        return bool(getattr(endpoint, "catches_up", False))
    return not getattr(endpoint, "stores_nothing", False)


async def its_session(request: Request) -> Session:
    """Return the request's one session, whose transaction begins with its first statement."""
    session: Session = request.state.session
    return session


SessionDep = Annotated[Session, Depends(its_session)]
