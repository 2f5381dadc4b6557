"""What one collection brought, as a settlement takes it: no amount in it is below zero.

- Refunds that the venue paid, house money and test money are in the box but are no takings: they are claims on it (C3).
- ``near`` is the count brought into the expected range; inside the range it is the count itself (C4).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from ..pricing.errors import DomainError, Fault
from ..pricing.money import MAX_MINOR
from .carried_forward import RETURNS, Claim
from .expected_range import Expected


@dataclass(frozen=True, slots=True)
class Box:
    """What one collection brought, in minor units, none below zero (``bad_amount``).

    ``expected`` is that of the whole box (``InAll.settling``), None where nothing is known to expect.
    """

    counted: int
    expected: Expected | None = None
    refunds_by_venue: int = 0
    house_money: int = 0
    test_money: int = 0

    def __post_init__(self) -> None:
        faults = [
            Fault("bad_amount", where, repr(amount), f"minor units from 0 to {MAX_MINOR}")
            for where in ("counted", *RETURNS)
            if type(amount := getattr(self, where)) is not int or not 0 <= amount <= MAX_MINOR
        ]
        if faults:
            raise DomainError(*faults)

    @property
    def near(self) -> int:
        """The count, brought into the expected range."""
        return self.counted if self.expected is None else self.expected.nearest(self.counted)

    def claims(self, on: date) -> tuple[Claim, ...]:
        """Return what of this box is to be returned."""
        return tuple(Claim(code, amount, on) for code in RETURNS if (amount := getattr(self, code)))
