"""The gate every request passes: strict JSON in, and an answer that can be replayed.

- A body is JSON in UTF-8: finite numbers, no name twice in one object, no half surrogates, no NUL, 60 levels at most.
- A compressed body (gzip) counts as what it inflates to.
- A POST with an ``Idempotency-Key`` that was answered before is answered the same again (see ``api.access.replay``):
  key, work and answer are stored in the one transaction of the request.
"""

import json
import zlib
from collections.abc import Callable, Coroutine
from typing import Any

import pydantic_core
from anyio import to_thread
from fastapi import Request, Response
from fastapi.routing import APIRoute

from api.access.replay import Replay, keep_answer
from api.errors import Problem, refused
from api.methods import methods_of

_LEVELS_MAX = 60


class Route(APIRoute):
    """A route behind the gate; every router uses it."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return the handler with the gate in front of it and the replay behind it."""
        handle = super().get_route_handler()

        async def gate(request: Request) -> Response:
            methods_of(request).check_literal(request.url.path, request.method)
            if request.method not in ("GET", "HEAD"):
                await _read_body(request)
            try:
                response = await handle(request)
            except Replay as replay:
                return Response(replay.body, replay.status, replay.headers)
            if claim := getattr(request.state, "claim", None):
                await to_thread.run_sync(keep_answer, request.state.session, claim, response)
            return response

        return gate


async def _read_body(request: Request) -> None:
    """Read the body once, inflate it, and refuse what is not strict JSON."""
    body = await request.body()
    if request.headers.get("content-encoding", "identity").lower() != "identity":
        body = _inflate(body, request)
    if not body:
        return
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if kind != "application/json":
        raise refused("malformed", where="Content-Type", found=kind or "nothing", expected="application/json")
    request._body = body
    request._json = strict_json(body)


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
        raise refused("malformed", where="body", found="deep nesting", expected="at most 60 levels") from None
    except ValueError as error:
        raise refused("malformed", where="body", found=str(error)[:120], expected="JSON in UTF-8") from None
    _inspect(value)
    return value


def _without_repeats(pairs: list[tuple[str, Any]]) -> None:
    if len({name for name, _ in pairs}) != len(pairs):
        names = [name for name, _ in pairs]
        repeated = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the name {json.dumps(repeated[:40])} twice in one object")


def _inspect(value: Any) -> None:
    """Refuse nesting past the limit, NUL in any text, and numbers beyond what a float holds."""
    level, layer = 0, [value]
    while layer:
        level += 1
        if level > _LEVELS_MAX:
            raise refused("malformed", where="body", found="deep nesting", expected=f"at most {_LEVELS_MAX} levels")
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
