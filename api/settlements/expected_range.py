"""A range of expected cash."""

from __future__ import annotations

from dataclasses import dataclass

from ..pricing.errors import domain_error


@dataclass(frozen=True, slots=True)
class Expected:
    """Expected cash, from ``least`` to ``most`` minor units; a figure is a range of one. 0 ≤ least ≤ most."""

    least: int
    most: int

    def __post_init__(self) -> None:
        if not 0 <= self.least <= self.most:
            found = f"{self.least} to {self.most}"
            raise domain_error("bad_range", where="", found=found, expected="0 or more, the least not above the most")

    def __add__(self, other: Expected) -> Expected:
        return Expected(self.least + other.least, self.most + other.most)

    def nearest(self, counted: int) -> int:
        """Return what was counted where it is inside the range, else the nearer end."""
        return min(max(counted, self.least), self.most)
