"""What the engine says when it refuses: codes and places, never HTTP statuses.

E3: bad input is refused with what was found, what was expected and where; nothing is guessed.
All the mistakes that one check can see are reported at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Fault:
    """One mistake: its code, where it stands (``prices[1].units``), what stood there and what belongs there.

    ``amounts`` are the minor units that ``found`` and ``expected`` speak of, if they speak of money: whoever knows
    the currency can write them as they were sent.
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
        """Return the same fault seen from outside, where the faulty value is called ``where``."""
        joiner = "" if not self.where or self.where.startswith("[") else "."
        return replace(self, where=f"{where}{joiner}{self.where}")


class PricingError(ValueError):
    """One or more faults; ``code`` is the first one's."""

    def __init__(self, *faults: Fault) -> None:
        if not faults:
            raise TypeError("a PricingError needs at least one fault")
        self.faults = faults
        super().__init__("; ".join(str(fault) for fault in faults))

    @property
    def code(self) -> str:
        return self.faults[0].code

    def within(self, where: str) -> PricingError:
        """Return the same error seen from outside, where the faulty value is called ``where``."""
        return PricingError(*(fault.within(where) for fault in self.faults))


def refuse(code: str, *, where: str, found: object, expected: str) -> PricingError:
    """Build the error of a single fault; the caller raises it."""
    return PricingError(Fault(code, where, str(found), expected))
