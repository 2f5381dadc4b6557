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


def shows_token(endpoint: F) -> F:
    """Mark a POST whose answer shows a token: it is never kept."""
    endpoint.shows_token = True  # type: ignore[attr-defined]
    return endpoint


def writes(request: Request) -> bool:
    """Tell whether a request may store something in its transaction: all but GET, and what ``stores_nothing``."""
    if request.method in ("GET", "HEAD"):
        return False
    return not getattr(request.scope.get("endpoint"), "stores_nothing", False)


async def its_session(request: Request) -> Session:
    """Return the request's one session, whose transaction begins with its first statement."""
    session: Session = request.state.session
    return session


SessionDep = Annotated[Session, Depends(its_session)]
