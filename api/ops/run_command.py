"""Runs a command: whatever is refused becomes a sentence on the error stream and a status, never a traceback.

A mistake of ours keeps its traceback.
"""

import os
import sys
from collections.abc import Callable, Collection
from importlib import import_module
from typing import Any

from sqlalchemy.exc import DBAPIError

from ..pricing import DomainError
from ..store.db import sqlite_driver
from ..web.errors import Problem, problem_out
from .database_trouble import trouble_in_words
from .terminal import complain


def _as_typed(where: str, options: Collection[str]) -> str:
    """Return the option of a command that a field of the API is: ``--venue`` for ``venue_id``."""
    option = where.removesuffix("_id")
    return f"--{option.replace('_', '-')}" if option in options else where


def run(function: str, **options: Any) -> int:
    """Run a function of ``ops.commands``, such as ``token.create``; return its status, 1 where something was refused."""
    module, _, name = function.rpartition(".")
    try:
        command: Callable[..., int | None] = getattr(import_module(f"baizebook.ops.commands.{module}"), name)
        status = command(**options) or 0
        sys.stdout.flush()
        return status
    except (Problem, DomainError) as error:
        problem = problem_out(error)
        complain(f"{problem.title.rstrip('.')}.")
        mistakes = [(item.where, f"found {item.found}, expected {item.expected}") for item in problem.errors]
        if problem.detail not in (problem.title, "; ".join(f"{where}: {what}" for where, what in mistakes)):
            complain(f"  {problem.detail}")
        for where, what in mistakes:
            complain(f"  {_as_typed(where, options)}: {what}")
    except (DBAPIError, sqlite_driver().DatabaseError) as error:
        words = trouble_in_words(error)
        if words is None:
            raise
        complain(words)
    except BrokenPipeError:  # whoever read the output went away, as ``head`` does; nothing is left to flush at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        complain(f"{error.filename or 'The system'}: {error.strerror or error}.")
    except ValueError as error:
        complain(str(error))
    except KeyboardInterrupt:
        complain("Stopped.")
        return 130
    return 1
