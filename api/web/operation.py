"""The order of a request: headers, token, limits, body, validation, one transaction, answer.

- A token is checked by headers alone: of a caller without one no byte of a body is read.
- A parameter that the operation does not have, or one that occurs twice, is refused: nothing is guessed.
- All else happens in one thread: the body is inflated and parsed once, FastAPI's own handler validates it, and only
  then the operation, an ordinary function, begins the transaction (see ``baizebook.web.transactions``).
- The dear part of an operation that is marked so (``judged_before``) is worked out on a snapshot, before that.
- What is kept in memory of what was read (``baizebook.store.read_cache``) is answered at once, without a thread.
- A file is not parsed here: the operation reads it, in the same thread.
- The operation's ``now`` is never before the last recorded instant (see ``baizebook.web.request_instant``).
- What is not wanted any more ends (see ``baizebook.web.stopping``).
- A POST with an ``Idempotency-Key`` that was answered before is answered the same again (see
  ``baizebook.web.idempotency``): key, work and answer are stored in the one transaction of the request.
"""

import hashlib
from collections.abc import Callable, Coroutine, Iterator
from datetime import datetime
from functools import wraps
from typing import Any, get_args, get_origin

from fastapi import FastAPI, Request, Response
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute, iter_route_contexts
from sqlmodel import Session

from ..pricing import Fault
from ..pricing.effort import Stop
from ..store.db import reading, stop_of
from .auth import find_principal
from .body import CLOSE, FILE_BYTES_MAX, Bodies, check_kind, inflated, parse_body
from .csv_answer import CSV_OPTIONS, answers_csv, dialect_of, in_dialect
from .csv_text import PLAIN, Dialect
from .dependencies import answer_from_memory, file_kinds, writes
from .error_answers import not_offered
from .errors import READ_AS_TEXT, Problem
from .idempotency import KeyClaim, Replay, claim_key, keep_answer, wanted_key, was_answered
from .not_modified import if_modified
from .request_instant import caution, instant_of_request
from .rows import Right
from .signed_links import PARAMETER
from .stopping import Stopping
from .thread_loop import loop_of_this_thread
from .transactions import Transactions

Handler = Callable[[Request], Coroutine[Any, Any, Response]]


class Route(APIRoute):
    """A route whose requests are handled in that order; every router of ours uses it."""

    def __init__(self, path: str, endpoint: Callable[..., Any], **options: Any) -> None:
        super().__init__(path, _in_this_thread(endpoint), **options)

    def get_route_handler(self) -> Handler:
        """Return FastAPI's handler, with headers, token, limits and body before it and the transaction around it."""
        handle = super().get_route_handler()
        has_csv = answers_csv(self.responses)
        repeatable = _lists(self.dependant)
        usual = next((field.default for field in self.dependant.query_params if field.alias == "format"), "")
        parameters = _parameters(self.dependant) | (CSV_OPTIONS if has_csv else frozenset())
        if self.path.endswith(READ_AS_TEXT):
            parameters |= {PARAMETER}
        roles = next(roles_of(self.dependant), None)

        async def answer(request: Request) -> Response:
            request.state.route = self.path
            try:
                _check_offered(request)
                request.state.principal = None if roles is None else await find_principal(request, roles)
                _check_parameters(request, parameters, repeatable)
                dialect = dialect_of(request, usual=usual) if has_csv else PLAIN
                if (kept := answer_from_memory(request)) is not None:
                    return if_modified(request, in_dialect(kept, dialect))
                transactions: Transactions = request.app.state.transactions
                line = transactions.writers if writes(request) else transactions.readers
                await line.check_room()
            except Problem as problem:
                problem.headers |= CLOSE if _has_body(request) else {}
                raise
            bodies: Bodies = request.app.state.bodies
            stopping: Stopping = request.app.state.stopping
            with bodies.held() as body, stopping.begun() as begun:
                if request.method not in ("GET", "HEAD"):
                    await body.read(request, size_max=_size_max(request))
                async with begun.watched(request):
                    return await line.run(lambda: _work(handle, request, bytes(body.content), dialect, begun.stop))
            raise begun.refusal()

        return answer


class ReadRequest(Request):
    """A request whose body was read and parsed: FastAPI's handler asks for both and gets what is there.

    Of a file ``value`` is the digest: what an idempotency key is kept with.
    """

    def __init__(self, request: Request, content: bytes, value: Any) -> None:
        super().__init__(request.scope, request.receive)
        self.content, self.value = content, value

    async def body(self) -> bytes:
        """Return the body as it was sent."""
        return self.content

    async def json(self) -> Any:
        """Return the value of the body."""
        return self.value


def _in_this_thread(endpoint: Callable[..., Any]) -> Callable[..., Any]:
    """Return an operation as a coroutine function that calls it where the whole request is handled."""

    @wraps(endpoint)
    async def call(*args: Any, **values: Any) -> Any:
        session = next((value for value in values.values() if isinstance(value, Session)), None)
        claim = None if session is None else session.info.pop("claim", None)
        if session is not None and (judge := getattr(endpoint, "judge_before", None)):
            session.info["judged"] = _judged(judge, claim, **values)
        if session is not None and claim is not None:
            claim_key(session, claim)
        if "now" in values and "session" in values:
            values["now"] = instant_of_request(**values)
        return endpoint(*args, **values)

    return call


def _judged(
    judge: Callable[..., object], claim: KeyClaim | None, *, session: Session, now: datetime, **values: Any
) -> object:
    """Return what an operation works out before its transaction begins; None where it was answered before."""
    with reading(session.get_bind().engine, stop_of(session)) as snapshot:
        if claim is not None and was_answered(snapshot, claim):
            return None
        return judge(session=snapshot, now=instant_of_request(session=snapshot, now=now), **values)


def _work(handle: Handler, request: Request, content: bytes, dialect: Dialect, stop: Stop) -> Response:
    """Answer a request in this thread."""
    kind, kinds = request.headers.get("content-type", ""), file_kinds(request)
    if content:
        coding = request.headers.get("content-encoding", "")
        content = inflated(content, coding=coding, size_bytes_max=_size_max(request))
    if kinds:
        check_kind(kind, kinds)
        value: Any = hashlib.sha256(content).hexdigest()
    else:
        value = parse_body(content, kind=kind) if content else None
    read = ReadRequest(request, content, value)
    claim = wanted_key(read)
    transactions: Transactions = request.app.state.transactions

    def work(session: Session) -> Response:
        return if_modified(request, in_dialect(_answer(handle, read, session, claim), dialect))

    return (transactions.write if writes(request) else transactions.read)(work, stop=stop)


def _answer(handle: Handler, request: ReadRequest, session: Session, claim: KeyClaim | None) -> Response:
    """Answer a request in a session, to its last byte: what fails to be written is not stored."""
    request.state.session = session
    if claim is not None:
        session.info["claim"] = claim
    try:
        response = loop_of_this_thread().run_until_complete(handle(request))
    except Replay as replay:
        return Response(replay.body, replay.status, replay.headers)
    caution(session, response)
    if claim is not None and "claim" not in session.info:
        keep_answer(session, claim, response)
    return response


def _size_max(request: Request) -> int:
    """Return the number of bytes that a body may have."""
    size_max: int = request.app.state.settings.body_bytes_max
    return FILE_BYTES_MAX if file_kinds(request) else size_max


def _has_body(request: Request) -> bool:
    return request.headers.get("content-length", "0") != "0" or "transfer-encoding" in request.headers


def _check_offered(request: Request) -> None:
    """Refuse a method that a literal address does not offer, though a pattern beside it would."""
    methods = request.app.state.methods.get(request.scope["path"])
    if methods is not None and request.method not in methods:
        raise not_offered(request, methods)


def roles_of(dependant: Dependant) -> Iterator[frozenset[Right]]:
    """Yield the roles that ``allow`` put on an operation."""
    if roles := getattr(dependant.call, "roles", None):
        yield roles
    for below in dependant.dependencies:
        yield from roles_of(below)


def operations_for(app: FastAPI, rights: frozenset[Right]) -> list[str]:
    """Return the names of the operations that a token with these rights may use, those that need no token among them, sorted."""
    return sorted(
        str(context.name)
        for context in iter_route_contexts(app.routes)
        if isinstance(context.original_route, APIRoute)
        and context.original_route.include_in_schema
        and rights & next(roles_of(context.original_route.dependant), rights)
    )


def _parameters(dependant: Dependant) -> frozenset[str]:
    """Return the names of the parameters in the address that an operation and what it depends on have."""
    own = frozenset(field.alias for field in dependant.query_params)
    return own.union(*(_parameters(below) for below in dependant.dependencies))


def _lists(dependant: Dependant) -> frozenset[str]:
    """Return the names of the parameters of an operation that may be repeated."""
    kinds = {field.alias: field.field_info.annotation for field in dependant.query_params}
    return frozenset(
        name for name, kind in kinds.items() if list in [get_origin(one) for one in (kind, *get_args(kind))]
    )


def _check_parameters(request: Request, known: frozenset[str], repeatable: frozenset[str]) -> None:
    """Refuse parameters that the operation does not have, and those that occur twice but are no lists."""
    names: dict[str, int] = {}
    for name, _ in request.query_params.multi_items():
        names[name] = names.get(name, 0) + 1
    faults = [
        Fault("invalid", f"query.{name[:40]}", "twice" if name in known else "a parameter", expected)
        for name, times in names.items()
        if (expected := _expected_of(name, 1 if name in repeatable else times, known))
    ]
    if faults:
        raise Problem("invalid", "Unknown or repeated query parameters.", errors=faults)


def _expected_of(name: str, times: int, known: frozenset[str]) -> str | None:
    if name not in known:
        return f"one of {', '.join(sorted(known))}" if known else "no parameters here"
    return "it once" if times > 1 else None
