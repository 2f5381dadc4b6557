"""Batches from a phone that was offline: each item on its own, one outcome an item, in the order sent (R3, O3).

- The sender makes the ids. The same item again is a ``duplicate`` and changes nothing.
- An item that cannot be read or is refused says so with its own problem, and hides or blocks none of the others.
- A batch is one transaction with a savepoint for each item: a crash in the middle leaves nothing, and the same batch
  sent again records all of it. Whoever records a batch takes the locks of all its items first, in one order, so that
  two batches never wait for each other.
- A batch is as long as others can wait for it: well under a second of work (about 25 ms a collection, 8 ms a keying).
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypeVar
from uuid import UUID

from pydantic import Field, ValidationError
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from ..pricing.errors import DomainError
from .errors import ERRORS_MAX, Problem, ProblemOut, bound_errors, from_validation, problem_out, uncounted_out
from .schema_types import UUID_PATTERN, Id, Out, must_match

ItemOutcome = Literal["recorded", "duplicate", "refused"]
T = TypeVar("T")
WHY_REFUSED = "Why it was refused, as sending it alone would answer; past the first 100 mistakes of an answer `more_errors` alone."


@dataclass(frozen=True, slots=True)
class Unreadable:
    """An item that is none: why, and its id where it has one."""

    id: UUID | None
    error: ValidationError


class ItemResultOut(Out):
    """What became of one item."""

    id: Annotated[Id | None, Field(description="The item's id; null where it had none that can be read.")]
    outcome: ItemOutcome
    problem: Annotated[ProblemOut | None, Field(description=WHY_REFUSED)]


class BatchResultsOut(Out):
    """One outcome an item, in the order sent; what is ``recorded`` or a ``duplicate`` is stored."""

    results: list[ItemResultOut]
    recorded: int
    duplicate: int
    refused: int


def one_by_one(value: Any, read: Callable[[Any], T]) -> T | Unreadable:
    """Read an item of a batch, or say why it is none: a wrap validator of the batch's list."""
    try:
        return read(value)
    except ValidationError as error:
        # its traceback leads to the frames that hold the batch: a circle that only a search for garbage would free
        return Unreadable(_usable_id(value), error.with_traceback(None))


def why_unreadable(items: Iterable[Any]) -> dict[int, ProblemOut]:
    """Return why items of a batch are none, by their places: the first 100 mistakes, of later items only the number."""
    problems: dict[int, ProblemOut] = {}
    left = ERRORS_MAX
    for place, item in enumerate(items):
        if isinstance(item, Unreadable) and left > 0:
            problems[place] = problem_out(from_validation(item.error.errors(include_url=False)))
            left -= len(problems[place].errors)
        elif isinstance(item, Unreadable):
            problems[place] = uncounted_out(item.error.error_count())
    return problems


def readable(items: Iterable[T | Unreadable]) -> list[T]:
    """Return the items of a batch that could be read."""
    return [item for item in items if not isinstance(item, Unreadable)]


def record_each(
    session: Session,
    items: Sequence[Any],
    record: Callable[[Any], bool],
    *,
    key: Callable[[Any], Any] | None = None,
) -> BatchResultsOut:
    """Record the items of a batch, each in a savepoint of its own; ``record`` tells whether an item was new.

    ``key`` orders the recording; the outcomes have the order of the items.
    """
    results: dict[int, ItemResultOut] = {
        place: _refused(items[place].id, problem) for place, problem in why_unreadable(items).items()
    }
    places = [place for place in range(len(items)) if place not in results]
    if key is not None:
        places.sort(key=lambda place: key(items[place]))
    for place in places:
        results[place] = _record_one(session, items[place], record)
    outcomes = bound_errors(results[place] for place in range(len(items)))
    counts = [result.outcome for result in outcomes]
    return BatchResultsOut(
        results=outcomes,
        recorded=counts.count("recorded"),
        duplicate=counts.count("duplicate"),
        refused=counts.count("refused"),
    )


def _record_one(session: Session, item: Any, record: Callable[[Any], bool]) -> ItemResultOut:
    try:
        with session.begin_nested():
            is_new = record(item)
    except (Problem, DomainError) as problem:
        return _refused(item.id, problem_out(problem))
    except IntegrityError:
        return _refused(item.id, problem_out(Problem("conflict", "Another request changed the data meanwhile.")))
    return ItemResultOut(id=item.id, outcome="recorded" if is_new else "duplicate", problem=None)


def _refused(id_: UUID | None, problem: ProblemOut) -> ItemResultOut:
    return ItemResultOut(id=id_, outcome="refused", problem=problem)


def _usable_id(item: Any) -> UUID | None:
    try:
        return UUID(must_match(item["id"], UUID_PATTERN, "a UUID"))
    except (KeyError, TypeError, IndexError, ValueError):
        return None
