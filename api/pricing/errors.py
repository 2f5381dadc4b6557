"""What a rule says when it refuses: codes and places, never HTTP statuses.

    DomainError             a value or a state that a rule of the service refuses
    └── PricingError        the same, raised by the pricing engine

- E3: an error says what was found, what was expected and where; nothing is guessed.
- One error reports all the mistakes that one check can see.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self


@dataclass(frozen=True, slots=True)
class Fault:
    """One mistake: its code, its place (``prices[1].units``), the value found there and the value expected.

    ``amounts`` are the minor units in ``found`` and ``expected``, where those are amounts of money: a caller that knows
    the currency can then write them as decimal strings.
    """

    code: str
    where: str
    found: str
    expected: str
    amounts: tuple[int, int] | None = None

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        return f"{place}found {self.found}, expected {self.expected}"

    def within(self, where: str) -> Fault:
        """Return the same fault as seen from outside, where the faulty value is called ``where``."""
        joiner = "" if not self.where or self.where.startswith("[") else "."
        return replace(self, where=f"{where}{joiner}{self.where}")


class DomainError(ValueError):
    """One or more faults; ``code`` is the code of the first."""

    def __init__(self, *faults: Fault) -> None:
        if not faults:
            raise TypeError("a DomainError needs at least one fault")
        self.faults = faults
        super().__init__("; ".join(str(fault) for fault in faults))

    @property
    def code(self) -> str:
        return self.faults[0].code

    def within(self, where: str) -> Self:
        """Return the same error as seen from outside, where the faulty value is called ``where``."""
        return type(self)(*(fault.within(where) for fault in self.faults))


class PricingError(DomainError):
    """What the pricing engine refuses."""


def domain_error(code: str, *, where: str, found: object, expected: str) -> DomainError:
    """Build the error of a single fault; the caller raises it."""
    return DomainError(Fault(code, where, str(found), expected))


def pricing_error(code: str, *, where: str, found: object, expected: str) -> PricingError:
    """Build the engine's error of a single fault; the caller raises it."""
    return PricingError(Fault(code, where, str(found), expected))
