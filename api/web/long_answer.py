"""Answers that are too long to hold: written piece by piece while the transaction lasts, then sent from a file.

- Up to ``HELD_BYTES`` are an ordinary answer. More go to a file without a name, in the folder for temporary files, which
  goes with the answer: a slow client keeps neither a transaction nor memory.
- An answer is whole or refused: nothing is sent before its last piece is written. It has its length and its ETag.
  Where there is no room for it, the client is asked to come back (503).
"""

from collections.abc import Iterable, Iterator
from hashlib import sha256
from itertools import islice
from tempfile import SpooledTemporaryFile
from typing import IO
from weakref import finalize

from fastapi import Response
from fastapi.responses import StreamingResponse

from ..pricing.effort import Stop
from .errors import Problem

HELD_BYTES = 256 * 1024
_PIECE_BYTES = 64 * 1024
_LINES_AT_ONCE = 500


def long_answer(lines: Iterable[str], *, media_type: str, file_name: str, stop: Stop) -> Response:
    """Return lines of text as a file to keep, read one at a time; looks whether it is still wanted (``stop``)."""
    headers = {"Content-Disposition": f'attachment; filename="{file_name}"'}
    rest, digest, size = iter(lines), sha256(), 0
    file: IO[bytes] = SpooledTemporaryFile(HELD_BYTES)  # noqa: SIM115 (an answer that is sent from it closes it)
    try:
        while part := "".join(islice(rest, _LINES_AT_ONCE)).encode():
            stop.look()
            digest.update(part)
            size += file.write(part)
        file.seek(0)
        if size > HELD_BYTES:
            headers |= {"Content-Length": str(size), "ETag": f'W/"{digest.hexdigest()[:32]}"'}
            answer = StreamingResponse(_pieces(file), media_type=media_type, headers=headers)
            finalize(answer, file.close)
            return answer
        held = file.read()
    except OSError as error:
        file.close()
        detail = f"The answer cannot be kept among temporary files: {error.strerror}."
        raise Problem("unavailable", detail, headers={"Retry-After": "60"}) from error
    except BaseException:
        file.close()
        raise
    file.close()
    return Response(held, media_type=media_type, headers=headers)


def _pieces(file: IO[bytes]) -> Iterator[bytes]:
    while piece := file.read(_PIECE_BYTES):
        yield piece
