"""Bodies: read to their end or refused, inflated and parsed once.

- A body has at most ``body_bytes_max`` bytes, a file 16 MiB, compressed and inflated; every 10 seconds bring 10 kB or
  its end (408).
- A process holds at most 128 bodies and 64 MiB of them at once; more are asked to come back (503). What is inflated
  is held only by the threads that work, at most the same number of bytes in each.
- A body is JSON in UTF-8 with at most 200,000 values in 32 levels: finite numbers, each name once in an object, no
  half of a surrogate pair, no NUL.
"""

import json
import zlib
from collections import Counter
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from typing import Any, NoReturn

import anyio
from fastapi import Request

from .errors import Problem, http_problem

BODIES_MAX = 128
BODIES_BYTES_MAX = 64 * 1024 * 1024
FILE_BYTES_MAX = 16 * 1024 * 1024
PERIOD_S = 10
PERIOD_BYTES = 10_000
VALUES_MAX = 200_000
LEVELS_MAX = 32


class Bodies:
    """The bodies that one process holds: their number and their bytes, counted in the event loop only."""

    def __init__(self) -> None:
        self.number = self.size_bytes = 0

    @contextmanager
    def held(self) -> Iterator["HeldBody"]:
        """Hold one body more; refuse (``unavailable``) where too many are held."""
        if self.number >= BODIES_MAX:
            raise come_back()
        body = HeldBody(self)
        self.number += 1
        try:
            yield body
        finally:
            self.number -= 1
            self.size_bytes -= len(body.content)


class HeldBody:
    """A body as it arrives."""

    def __init__(self, bodies: Bodies) -> None:
        self._bodies = bodies
        self.content = bytearray()

    async def read(self, request: Request, *, size_max: int) -> None:
        """Read the body to its end; refuse one of more bytes, one that is too slow, or one too many."""
        announced = request.headers.get("content-length", "")
        if announced.isdecimal() and int(announced) > size_max:
            raise _too_large(size_max)
        stream = aiter(request.stream())
        while True:
            enough = len(self.content) + PERIOD_BYTES
            try:
                with anyio.fail_after(PERIOD_S):
                    while len(self.content) < enough:
                        chunk = await anext(stream, None)
                        if chunk is None:
                            return
                        self._add(chunk, size_max)
            except TimeoutError:
                raise Problem("too_slow", headers=CLOSE) from None

    def _add(self, chunk: bytes, size_max: int) -> None:
        if len(self.content) + len(chunk) > size_max:
            raise _too_large(size_max)
        if self._bodies.size_bytes + len(chunk) > BODIES_BYTES_MAX:
            raise come_back()
        self._bodies.size_bytes += len(chunk)
        self.content += chunk


CLOSE = {"Connection": "close"}
"""Goes with an answer to a body that was not read: the rest of it is not waited for."""


def come_back() -> Problem:
    """Build the refusal of work for which there is no room now."""
    return Problem("unavailable", "Too many requests at once.", headers={"Retry-After": "1", **CLOSE})


def _too_large(size_max: int) -> Problem:
    return Problem("too_large", f"The body has more than {size_max} bytes.", headers=CLOSE)


def inflated(content: bytes, *, coding: str, size_bytes_max: int) -> bytes:
    """Return a body without its content coding; refuse (400 ``malformed``, 413 ``too_large``) what is not one gzip."""
    coding = coding.strip().lower()
    return content if coding in ("", "identity") else _inflate(content, coding, size_bytes_max)


def parse_body(content: bytes, *, kind: str) -> Any:
    """Return the JSON value of a body of a content type.

    Refuses (400 ``malformed``, 422 ``invalid``) all that this module's rules exclude.
    """
    check_kind(kind, ["application/json"])
    try:
        text = content.decode()
    except UnicodeDecodeError as error:
        raise http_problem(
            "malformed", where="body", found=f"no UTF-8 at byte {error.start}", expected="UTF-8"
        ) from None
    return strict_json(text)


def check_kind(kind: str, kinds: Collection[str]) -> None:
    """Refuse (400 ``malformed``) a content type that is none of these."""
    if kind.split(";")[0].strip().lower() not in kinds:
        expected = " or ".join(kinds)
        raise http_problem("malformed", where="Content-Type", found=kind[:80] or "nothing", expected=expected)


def _inflate(content: bytes, coding: str, size_bytes_max: int) -> bytes:
    if coding != "gzip":
        raise http_problem("malformed", where="Content-Encoding", found=coding[:40], expected="gzip, or no encoding")
    inflater = zlib.decompressobj(wbits=31)
    try:
        plain = inflater.decompress(content, size_bytes_max + 1)
    except zlib.error:
        raise http_problem("malformed", where="body", found="bytes that are not gzip", expected="gzip") from None
    if len(plain) > size_bytes_max:
        raise Problem("too_large", f"The body inflates to more than {size_bytes_max} bytes.")
    if not inflater.eof or inflater.unused_data:
        raise http_problem("malformed", where="body", found="a gzip body cut short", expected="one whole gzip body")
    return plain


def strict_json(text: str) -> Any:
    """Return the value of a JSON text; refuse what two readers could read differently, and what is too much."""
    _check_count(text)
    try:
        value = json.loads(text, object_pairs_hook=_object, parse_constant=_refuse_constant, parse_float=_finite)
    except RecursionError:
        raise _too_deep() from None
    except ValueError as error:
        raise http_problem("malformed", where="body", found=str(error)[:120], expected="JSON in UTF-8") from None
    _inspect(value, texts="\\u" in text)  # only an escape can write NUL or half a surrogate pair
    return value


def _check_count(text: str) -> None:
    """Refuse more values than allowed before any of them is made.

    A value follows a comma, or is the first of a list or object. The cheap count, which also takes commas inside texts
    for values, nearly always suffices; the exact one looks at the text with each string replaced by a digit.
    """
    if 1 + _separators(text) <= VALUES_MAX:
        return
    bare = "0".join(text.replace("\\\\", "").replace('\\"', "").split('"')[::2])
    if bare.count(",") < VALUES_MAX:
        bare = "".join(bare.split())
        if 1 + _separators(bare) - bare.count("[]") - bare.count("{}") <= VALUES_MAX:
            return
    raise http_problem("malformed", where="body", found="too many values", expected=f"at most {VALUES_MAX} values")


def _separators(text: str) -> int:
    return text.count(",") + text.count("[") + text.count("{")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Build an object; refuse a name that it has twice."""
    made = dict(pairs)
    if len(made) != len(pairs):
        repeated = max(Counter(name for name, _ in pairs).items(), key=lambda counted: counted[1])[0]
        found = f"the name {json.dumps(repeated[:40])} twice in one object"
        raise http_problem("malformed", where="body", found=found, expected="each name once")
    return made


def _refuse_constant(name: str) -> NoReturn:
    raise http_problem("malformed", where="body", found=name, expected="finite numbers")


def _too_deep() -> Problem:
    return http_problem("malformed", where="body", found="deep nesting", expected=f"at most {LEVELS_MAX} levels")


def _finite(digits: str) -> float:
    number = float(digits)
    if number in (float("inf"), float("-inf")):
        raise http_problem("malformed", where="body", found="a number too large", expected="finite numbers")
    return number


def _inspect(value: Any, *, texts: bool) -> None:
    """Refuse too many levels of lists and objects, and, where ``texts``, NUL and half surrogate pairs in any text."""
    level = 0
    layer: list[Any] = [[value]]
    while layer:
        if level > LEVELS_MAX:
            raise _too_deep()
        level += 1
        below: list[Any] = []
        for item in layer:
            parts = item.values() if type(item) is dict else item
            below += [part for part in parts if type(part) in (dict, list)]
            if texts:
                for text in (*parts, *item):
                    if type(text) is str:
                        _inspect_text(text)
        layer = below


def _inspect_text(text: str) -> None:
    if "\0" in text:
        raise http_problem("invalid", where="body", found="a NUL character", expected="text without one")
    if not text.isascii():
        try:
            text.encode()
        except UnicodeEncodeError:
            raise http_problem(
                "malformed", where="body", found="half a surrogate pair", expected="whole characters"
            ) from None
