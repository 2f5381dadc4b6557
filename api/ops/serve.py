"""The server: uvicorn, with its own limits on a connection, and logs without secrets.

- Requests are read by h11, which bounds a request's head to 16 kB; ``baizebook.web.body`` bounds size and time of a
  body, ``baizebook.web.middleware`` the time of an answer. uvicorn has no time limit on a head that is half there:
  that is for the proxy in front, whose settings the guide shows.
- Past ``CONNECTIONS_MAX`` connections, requests are answered 503 at once; ``baizebook.web.transactions`` bounds those
  that work and wait.
- On SIGTERM no new connection is taken; what was begun is finished within half a second, or ended with nothing stored
  (``baizebook.web.stopping``). Answers are sent within 8 seconds; then the process ends.
- ``X-Forwarded-For`` counts only from the addresses in ``FORWARDED_ALLOW_IPS`` (127.0.0.1 unless it is set).
- A worker that does not answer for two minutes is replaced: longer than the slowest start of a busy machine.
- A request leaves one line (``baizebook.web.middleware``), plain or JSON by ``BAIZEBOOK_LOG``. No line has a query, a
  token, wherever a client put it, or control characters.
"""

import copy
import ctypes
import gc
import json
import logging
import platform
import sys
from datetime import UTC, datetime
from typing import Any

import uvicorn
from fastapi import FastAPI
from uvicorn.config import LOGGING_CONFIG
from uvicorn.logging import DefaultFormatter

from ..app import create_app
from ..store.settings import get_settings
from ..web.redaction import without_tokens

REQUEST_HEAD_BYTES_MAX = 16 * 1024
KEEP_ALIVE_S = 5
CONNECTIONS_MAX = 800
"""Below the 1,024 files that a process may usually have open, the database's and the listeners' among them."""
WORKER_SILENT_S = 120

FINISH_WITHIN_S = 8


SWITCH_EVERY_S = 0.0002
"""How long a thread may work before another's turn: beside ten threads that compute, the event loop waits for all of them
several times in each request, so Python's own 5 ms become half a second."""
GARBAGE_AFTER = 10_000
"""How many new objects make a search for garbage worth its time; a reading makes about thirty."""
YOUNG_SEARCHES = 2
"""How many such searches come before one that looks at what they left: nobody else works meanwhile, and after Python's own ten
it takes 40 ms."""


_M_ARENA_MAX = -8
"""The parameter's number in <malloc.h> of glibc."""
HEAPS_MAX = 2
"""By itself glibc gives each thread a heap, up to eight for each processor: what SQLite's page caches free in one of them,
the other threads cannot use, and the process grows for hours though it holds no more."""


class DiscreetFormatter(DefaultFormatter):
    """Writes what happened, tracebacks too, without tokens."""

    def format(self, record: logging.LogRecord) -> str:
        """Write a record."""
        return without_tokens(super().format(record))


class RequestFormatter(logging.Formatter):
    """Writes the line of a request: plain, or one JSON object."""

    def __init__(self, form: str = "plain") -> None:
        super().__init__()
        self.form = form

    def format(self, record: logging.LogRecord) -> str:
        """Write a record of ``baizebook.web.middleware``."""
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        line: dict[str, Any] = {"time": at, **record.__dict__.get("request", {"message": record.getMessage()})}
        if self.form == "json":
            return without_tokens(json.dumps(line))
        words = (
            "-" if value is None else f'"{value}"' if name == "token" else str(value) for name, value in line.items()
        )
        return without_tokens(_printable(" ".join(words)))


def _printable(text: str) -> str:
    """Return a text with everything that a terminal could obey written as an escape."""
    if text.isprintable():
        return text
    return "".join(char if char.isprintable() else ascii(char)[1:-1] for char in text)


def log_config(form: str = "plain") -> dict[str, Any]:
    """Return uvicorn's own set-up of logging, with the two formatters above; ``form`` is ``plain`` or ``json``."""
    config = copy.deepcopy(LOGGING_CONFIG)
    config["formatters"]["default"]["()"] = "baizebook.ops.serve.DiscreetFormatter"
    config["formatters"]["requests"] = {"()": "baizebook.ops.serve.RequestFormatter", "form": form}
    config["handlers"]["requests"] = {**config["handlers"]["access"], "formatter": "requests"}
    config["loggers"]["baizebook.requests"] = {"handlers": ["requests"], "level": "INFO", "propagate": False}
    return config


def share_heaps() -> None:
    """Let all threads take memory from a few heaps, where the C library is glibc (mallopt(3)); before any thread starts."""
    if platform.libc_ver()[0] == "glibc":
        ctypes.CDLL(None).mallopt(_M_ARENA_MAX, HEAPS_MAX)


def application() -> FastAPI:
    """Return the application as one of several processes serves it."""
    return _ready(create_app())


def _ready(app: FastAPI) -> FastAPI:
    """Return an application when its process is ready to serve it.

    What was made until now stays for good: to look through it for garbage again and again takes a quarter of the
    time of a large batch.
    """
    share_heaps()
    gc.collect()
    gc.freeze()
    gc.set_threshold(GARBAGE_AFTER, YOUNG_SEARCHES)
    sys.setswitchinterval(SWITCH_EVERY_S)
    return app


def serve(app: FastAPI, *, host: str, port: int, workers: int) -> None:
    """Serve until told to stop; returns when every accepted request was answered, 8 seconds later at the latest.

    A single worker is this process, with this application; several are processes that make their own.
    """
    uvicorn.run(
        _ready(app) if workers == 1 else "baizebook.ops.serve:application",
        factory=workers > 1,
        host=host,
        port=port,
        workers=workers,
        http="h11",
        ws="none",
        lifespan="on",
        h11_max_incomplete_event_size=REQUEST_HEAD_BYTES_MAX,
        limit_concurrency=CONNECTIONS_MAX,
        timeout_worker_healthcheck=WORKER_SILENT_S,
        timeout_keep_alive=KEEP_ALIVE_S,
        timeout_graceful_shutdown=FINISH_WITHIN_S,
        server_header=False,
        access_log=False,
        log_config=log_config(get_settings().log),
    )
