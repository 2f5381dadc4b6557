"""The server: uvicorn, with limits on what a connection may take and logs that tell no secrets.

- Requests are read by h11, which bounds a request's head; ``baizebook.ops.connection`` bounds the time.
- On SIGTERM no new connection is taken, what was begun is finished, within 8 seconds; then the process ends.
- There is no limit on parallel requests here: ``Turnstile`` answers those that are too many as a problem with
  ``Retry-After``, and ``baizebook.ops.connection`` lets the stalest connection go.
- A log has neither the query of an address nor a token, wherever a client put it.
"""

import copy
import gc
import logging
from typing import Any

import uvicorn
from fastapi import FastAPI
from uvicorn.config import LOGGING_CONFIG
from uvicorn.logging import AccessFormatter, DefaultFormatter

from ..app import create_app
from ..web.redaction import without_tokens
from .connection import HEAD_BYTES_MOST, Connection

KEEP_ALIVE_S = 5

FINISH_WITHIN_S = 8


GARBAGE_AFTER = 10_000
"""How many new objects make a search for garbage worth its time; a reading makes about thirty."""


class DiscreetFormatter(DefaultFormatter):
    """Writes what happened, tracebacks too, without tokens."""

    def format(self, record: logging.LogRecord) -> str:
        """Write a record."""
        return without_tokens(super().format(record))


class DiscreetAccessFormatter(AccessFormatter):
    """Writes who asked for what, without the query of the address and without tokens."""

    def formatMessage(self, record: logging.LogRecord) -> str:  # noqa: N802 (the name is logging's)
        """Write a record."""
        short = copy.copy(record)
        client, method, path, version, status = record.args  # type: ignore[misc]
        short.args = (client, method, str(path).partition("?")[0], version, status)
        return without_tokens(super().formatMessage(short))


def log_config() -> dict[str, Any]:
    """Return uvicorn's own set-up of logging, with the two formatters above."""
    config = copy.deepcopy(LOGGING_CONFIG)
    config["formatters"]["default"]["()"] = "baizebook.ops.serve.DiscreetFormatter"
    config["formatters"]["access"]["()"] = "baizebook.ops.serve.DiscreetAccessFormatter"
    return config


def application() -> FastAPI:
    """Return the application as a process serves it.

    What was made until now stays for good: to look through it for garbage again and again takes a quarter of the
    time of a large batch.
    """
    app = create_app()
    gc.collect()
    gc.freeze()
    gc.set_threshold(GARBAGE_AFTER)
    return app


def serve(*, host: str, port: int, workers: int) -> None:
    """Serve until told to stop; returns when every accepted request was answered or 8 seconds have gone."""
    uvicorn.run(
        "baizebook.ops.serve:application",
        factory=True,
        host=host,
        port=port,
        workers=workers,
        http=Connection,
        ws="none",
        lifespan="on",
        h11_max_incomplete_event_size=HEAD_BYTES_MOST,
        timeout_keep_alive=KEEP_ALIVE_S,
        timeout_graceful_shutdown=FINISH_WITHIN_S,
        server_header=False,
        log_config=log_config(),
    )
