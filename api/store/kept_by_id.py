"""Values of stored versions, which never change, kept by their ids: at most 10,000 of a kind, then begun over."""

from typing import Generic, TypeVar
from uuid import UUID

T = TypeVar("T")

KEPT_MAX = 10_000


class KeptById(Generic[T]):
    """Values of one kind, by the ids of the rows that they were made of."""

    def __init__(self) -> None:
        self._values: dict[UUID, T] = {}

    def get(self, id: UUID) -> T | None:
        """Return the value kept under an id, or None."""
        return self._values.get(id)

    def keep(self, id: UUID, value: T) -> None:
        """Keep a value under an id."""
        if len(self._values) >= KEPT_MAX:
            self._values.clear()
        self._values[id] = value
