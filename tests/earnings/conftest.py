"""A venue with one table to earn at."""

from tests.cash.conftest import till

__all__ = ["till"]
