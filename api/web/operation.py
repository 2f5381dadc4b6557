"""The gate every request passes: known parameters and strict JSON in, and an answer that can be replayed.

- A parameter that the operation does not have, or one that stands twice, is refused: nothing is guessed.
- A body is JSON in UTF-8: finite numbers, no name twice in one object, no half surrogates, no NUL, 60 levels at most.
- A body is read up to its limit and no further; a compressed one (gzip) counts as what it inflates to.
- A POST with an ``Idempotency-Key`` that was answered before is answered the same again (see ``baizebook.web.idempotency``):
  key, work and answer are stored in the one transaction of the request.
- An operation is worked on in one thread and one transaction (see ``baizebook.web.transactions``): it is an ordinary function,
  and what it depends on are coroutines that wait for nothing.
"""

import json
import zlib
from collections.abc import Callable, Coroutine
from functools import partial, wraps
from typing import Any, TypeVar

import pydantic_core
from fastapi import Request, Response
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute
from sqlmodel import Session

from ..pricing import Fault
from .dependencies import writes
from .errors import Problem, refused
from .idempotency import Replay, keep_answer
from .methods import methods_of
from .transactions import Transactions

T = TypeVar("T")
_LEVELS_MAX = 60


class Route(APIRoute):
    """A route behind the gate; every router uses it."""

    def __init__(self, path: str, endpoint: Callable[..., Any], **options: Any) -> None:
        super().__init__(path, _in_this_thread(endpoint), **options)

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return the handler with the gate in front of it, in one transaction, and the replay behind it."""
        handle = super().get_route_handler()
        parameters = _parameters(self.dependant)
        shares_commit = getattr(self.endpoint, "shares_commit", False)

        async def gate(request: Request) -> Response:
            methods_of(request).check_literal(request.url.path, request.method)
            _check_parameters(request, parameters)
            transactions: Transactions = request.app.state.transactions
            stores = writes(request)
            await transactions.check_room(writes=stores)
            if request.method not in ("GET", "HEAD"):
                await _read_body(request)
            work = partial(_answer, handle, request)
            return await (transactions.write(work, shares_commit=shares_commit) if stores else transactions.read(work))

        return gate


def _in_this_thread(endpoint: Callable[..., Any]) -> Callable[..., Any]:
    """Return an operation as a coroutine that never waits: it is worked on where its whole request is."""

    @wraps(endpoint)
    async def at_once(*args: Any, **values: Any) -> Any:
        return endpoint(*args, **values)

    return at_once


def _answer(handle: Callable[[Request], Coroutine[Any, Any, Response]], request: Request, session: Session) -> Response:
    """Answer a request in a session, to its last byte: what fails to be written is not stored."""
    request.state.session, request.state.claim = session, None
    try:
        response = _run(handle(request))
    except Replay as replay:
        return Response(replay.body, replay.status, replay.headers)
    if request.state.claim:
        keep_answer(session, request.state.claim, response)
    return response


def _run(answering: Coroutine[Any, Any, T]) -> T:
    """Return what a coroutine returns that waits for nothing: the request is read, and its work blocks this thread."""
    try:
        answering.send(None)
    except StopIteration as returned:
        return returned.value  # type: ignore[no-any-return]
    answering.close()
    raise RuntimeError("An operation, or what it depends on, is no coroutine, or one that waits.")


def _parameters(dependant: Dependant) -> frozenset[str]:
    """Return the names of the parameters in the address that an operation and what it depends on have."""
    own = frozenset(field.alias for field in dependant.query_params)
    return own.union(*(_parameters(below) for below in dependant.dependencies))


def _check_parameters(request: Request, known: frozenset[str]) -> None:
    """Refuse parameters that the operation does not have, and those that stand twice in the address."""
    names = [name for name, _ in request.query_params.multi_items()]
    faults = [
        Fault("invalid", f"query.{name[:40]}", "twice" if name in known else "a parameter", expected)
        for name in dict.fromkeys(names)
        if (expected := _expected_of(name, names, known))
    ]
    if faults:
        raise Problem("invalid", "The address has a parameter that it should not have.", errors=faults)


def _expected_of(name: str, names: list[str], known: frozenset[str]) -> str | None:
    if name not in known:
        return f"one of {', '.join(sorted(known))}" if known else "no parameters here"
    return "it once" if names.count(name) > 1 else None


async def _read_body(request: Request) -> None:
    """Read the body once, inflate it, and refuse what is not strict JSON."""
    body = request._body = await _bounded(request)
    if request.headers.get("content-encoding", "identity").lower() != "identity":
        body = _inflate(body, request)
    if not body:
        request._body = body
        return
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if kind != "application/json":
        raise refused("malformed", where="Content-Type", found=kind or "nothing", expected="application/json")
    request._body = body
    request._json = strict_json(body)


async def _bounded(request: Request) -> bytes:
    """Read the body; refuse (``too_large``) one that is, as soon as that is known."""
    most = request.app.state.settings.body_bytes_max
    too_large = Problem("too_large", f"The body has more than {most} bytes.")
    announced = request.headers.get("content-length", "")
    if announced.isdecimal() and int(announced) > most:
        raise too_large
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > most:
            raise too_large
    return bytes(body)


def _inflate(body: bytes, request: Request) -> bytes:
    coding = request.headers["content-encoding"].strip().lower()
    if coding != "gzip":
        raise refused("malformed", where="Content-Encoding", found=coding[:40], expected="gzip, or none")
    most = request.app.state.settings.body_bytes_max
    inflater = zlib.decompressobj(wbits=31)
    try:
        plain = inflater.decompress(body, most + 1)
        whole = inflater.eof and not inflater.unused_data
    except zlib.error:
        raise refused(
            "malformed", where="body", found="bytes that are no gzip", expected="gzip, as announced"
        ) from None
    if len(plain) > most:
        raise Problem("too_large", f"The body inflates to more than {most} bytes.")
    if not whole:
        raise refused("malformed", where="body", found="a gzip body cut short", expected="the whole of it")
    return plain


def strict_json(body: bytes) -> Any:
    """Return what a JSON text says; refuse (``malformed``) all that two readers could read differently."""
    try:
        value = pydantic_core.from_json(body, allow_inf_nan=False)
        json.loads(body, object_pairs_hook=_without_repeats)
    except RecursionError:
        raise _too_deep() from None
    except ValueError as error:
        if "recursion limit" in str(error):
            raise _too_deep() from None
        raise refused("malformed", where="body", found=str(error)[:120], expected="JSON in UTF-8") from None
    _inspect(value)
    return value


def _without_repeats(pairs: list[tuple[str, Any]]) -> None:
    if len(dict(pairs)) != len(pairs):
        names = [name for name, _ in pairs]
        repeated = next(name for name in names if names.count(name) > 1)
        found = f"the name {json.dumps(repeated[:40])} twice in one object"
        raise refused("malformed", where="body", found=found, expected="each name once")


def _too_deep() -> Problem:
    return refused("malformed", where="body", found="deep nesting", expected=f"at most {_LEVELS_MAX} levels")


def _inspect(value: Any) -> None:
    """Refuse nesting past the limit, NUL in any text, and numbers beyond what a float holds."""
    level, layer = 0, [value]
    while layer:
        level += 1
        if level > _LEVELS_MAX:
            raise _too_deep()
        below: list[Any] = []
        for item in layer:
            if isinstance(item, dict):
                below += item.keys()
                below += item.values()
            elif isinstance(item, list):
                below += item
            elif isinstance(item, str) and "\0" in item:
                raise refused("invalid", where="body", found="a NUL character", expected="text without one")
            elif isinstance(item, float) and item in (float("inf"), float("-inf")):
                raise refused("malformed", where="body", found="a number too large", expected="finite numbers")
        layer = below
