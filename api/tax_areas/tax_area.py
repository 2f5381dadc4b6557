"""Taxes inside the price: dated rates of a tax area, and what a tax takes out of an amount that includes it.

- A tax area has a percentage or a published divisor from each of its dates; what holds on a date is the last that began
  on or before it, and before the first there is none (D, step 3).
- A percentage r takes base·r/(1+r), a divisor takes base − base/divisor, exact until it is rounded half-up, once.
- A rate of 100 % or more, or a divisor of 2 or more, is refused: it is a slip of the pen, not a tax.
- Nothing here is tax or legal advice, and every answer with a tax or a share in it says so (D4).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from itertools import pairwise

from ..pricing.errors import DomainError, Fault, domain_error
from ..pricing.money import round_half_up
from .percents import percent_in_words

NOT_ADVICE = "Figures follow the agreement and the tax rates that were entered. They are no tax or legal advice."
"""The sentence that goes with every tax and every share that is computed (D4)."""


@dataclass(frozen=True, slots=True)
class TaxRate:
    """What holds from ``from_on``: either ``rate_percent`` (0 to under 100) or ``divisor`` (1 to under 2), exact.

    Refuses ``one_of_rate_and_divisor`` and ``bad_tax_rate``.
    """

    from_on: date
    rate_percent: Fraction | None = None
    divisor: Fraction | None = None

    def __post_init__(self) -> None:
        if (self.rate_percent is None) == (self.divisor is None):
            found = "neither" if self.divisor is None else "both"
            raise domain_error(
                "one_of_rate_and_divisor", where="", found=found, expected="one of rate_percent and divisor"
            )
        for where, value, least, below in (
            ("rate_percent", self.rate_percent, 0, 100),
            ("divisor", self.divisor, 1, 2),
        ):
            if value is not None and (type(value) is not Fraction or not least <= value < below):
                expected = f"an exact number from {least} to below {below}"
                raise domain_error("bad_tax_rate", where=where, found=repr(value), expected=expected)

    def inside(self, base: int) -> int:
        """Return the tax that is inside ``base`` minor units (at least 0), half-up."""
        if base < 0:
            raise domain_error("negative_base", where="base", found=base, expected="an amount of at least 0")
        return round_half_up(base - base / self._divisor)

    @property
    def words(self) -> str:
        """The rate as a line of a settlement names it."""
        if self.divisor is not None:
            return f"the amount divided by {percent_in_words(self.divisor)}"
        return f"{percent_in_words(self.rate_percent or Fraction(0))} % inside the price"

    @property
    def _divisor(self) -> Fraction:
        return self.divisor if self.divisor is not None else 1 + (self.rate_percent or Fraction(0)) / 100


@dataclass(frozen=True, slots=True)
class TaxArea:
    """A place where one tax holds, for any number of venues; ``rates`` in the order of their dates.

    Refuses ``no_tax_rates`` and ``rates_not_rising``.
    """

    code: str
    name: str
    rates: tuple[TaxRate, ...]

    def __post_init__(self) -> None:
        if not self.rates:
            raise domain_error("no_tax_rates", where="rates", found="none", expected="at least one dated rate")
        faults = [
            Fault("rates_not_rising", f"rates[{index}].from_on", str(rate.from_on), f"a date after {before.from_on}")
            for index, (before, rate) in enumerate(pairwise(self.rates), start=1)
            if rate.from_on <= before.from_on
        ]
        if faults:
            raise DomainError(*faults)

    def rate_on(self, on: date) -> TaxRate | None:
        """Return the rate that holds on a trading date, or None before the first."""
        return next((rate for rate in reversed(self.rates) if rate.from_on <= on), None)
