"""What an operation depends on: its session, its instant, parameters that many have, and what marks its transaction."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Header, Query, Request, Response
from sqlmodel import Session

from ..store.db import mark_preview
from ..store.read_cache import NotCached, ReadCache


async def this_instant(request: Request) -> datetime:
    """Return the instant by the application's clock: it has ``now`` for one, a test another."""
    instant: datetime = request.app.state.clock()
    return instant


NowDep = Annotated[datetime, Depends(this_instant)]
PreviewParam = Annotated[bool, Query(description="Check and answer as if it were stored, but store nothing.")]
IfMatch = Annotated[str | None, Header(description="The ETag of the last GET.", max_length=200, pattern=r"^[!-~ ]*$")]
BYTES_TYPE = "application/octet-stream"
F = TypeVar("F")


def stores_nothing(endpoint: F) -> F:
    """Mark a POST that only computes: its session reads."""
    endpoint.stores_nothing = True  # type: ignore[attr-defined]
    return endpoint


def judged_before(judge: Callable[..., object]) -> Callable[[F], F]:
    """Mark an operation of which ``judge`` works out the dear part on a snapshot, before its transaction begins.

    ``judge`` takes what the operation takes, by name, with the snapshot as its session; ``judgement_of`` hands over its
    result. Where something changed since, the operation must find that by itself.
    """

    def mark(endpoint: F) -> F:
        endpoint.judge_before = judge  # type: ignore[attr-defined]
        return endpoint

    return mark


def judgement_of(session: Session) -> Any:
    """Return what was worked out before the transaction of a request; None where nothing was."""
    return session.info.get("judged")


def from_memory(answer: Callable[[Request], Response]) -> Callable[[F], F]:
    """Mark a GET that ``answer`` answers at once where all that it reads is kept in memory; else it raises NotCached."""

    def mark(endpoint: F) -> F:
        endpoint.from_memory = answer  # type: ignore[attr-defined]
        return endpoint

    return mark


def shows_token(endpoint: F) -> F:
    """Mark a POST whose answer shows a token: it is never kept."""
    endpoint.shows_token = True  # type: ignore[attr-defined]
    return endpoint


def takes_file(*kinds: str) -> Callable[[F], F]:
    """Mark an operation whose body is a file of one of these content types, and not JSON."""

    def mark(endpoint: F) -> F:
        endpoint.takes_file = kinds  # type: ignore[attr-defined]
        return endpoint

    return mark


def file_kinds(request: Request) -> tuple[str, ...]:
    """Return the content types of the file that an operation takes; none where it takes JSON."""
    kinds: tuple[str, ...] = getattr(request.scope.get("endpoint"), "takes_file", ())
    return kinds


@dataclass(frozen=True, slots=True)
class SentFile:
    """A file that was sent: the content type that its sender gave it, and its bytes."""

    kind: str
    content: bytes


async def sent_file(request: Request) -> SentFile:
    """Return the file that was sent."""
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    return SentFile(kind, await request.body())


FileDep = Annotated[SentFile, Depends(sent_file)]


def writes(request: Request) -> bool:
    """Tell whether a request may store something in its transaction: all but GET, and what ``stores_nothing``."""
    if request.method in ("GET", "HEAD"):
        return False
    return not getattr(request.scope.get("endpoint"), "stores_nothing", False)


LOOKED = "baizebook.looked"
"""Stands in the scope of a request that has looked whether anything was committed: once is enough."""


def answer_from_memory(request: Request) -> Response | None:
    """Return the answer of an operation marked so; None where it must read the database."""
    answer = getattr(request.scope.get("endpoint"), "from_memory", None)
    kept: ReadCache = request.app.state.kept
    if answer is None or kept.needs_thread:
        return None
    if not request.scope.get(LOOKED):
        kept.look()
    try:
        response: Response = answer(request)
    except NotCached:
        return None
    return response


async def as_preview(request: Request, response: Response, preview: PreviewParam = False) -> bool:
    """Make a request a preview, answered with 200, where it asks for one."""
    if preview:
        mark_preview(request.state.session)
        response.status_code = 200
    return preview


PreviewDep = Annotated[bool, Depends(as_preview)]


async def its_read_cache(request: Request) -> ReadCache:
    """Return what is kept in memory of what was read."""
    kept: ReadCache = request.app.state.kept
    return kept


ReadCacheDep = Annotated[ReadCache, Depends(its_read_cache)]


async def its_session(request: Request) -> Session:
    """Return the request's one session, whose transaction begins with its first statement."""
    session: Session = request.state.session
    return session


SessionDep = Annotated[Session, Depends(its_session)]
