"""The lines of an answer (E1) and the advice on a tariff (P8): plain values that every part of the engine makes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

Kind = Literal["games", "minutes", "metered"]
PrepaidKind = Literal["games", "minutes"]
PREPAID_KINDS: tuple[PrepaidKind, ...] = ("games", "minutes")


class Line(NamedTuple):
    """One line of an answer: what, how many units, how much money (minor units). Lines add up to their totals."""

    what: str
    units: int
    amount: int


@dataclass(frozen=True, slots=True)
class Advice:
    """Something the operator may want to know about a tariff; never a refusal (P8).

    ``amount`` (minor units) and ``units`` are the case; ``instead_amount`` and ``instead_units`` what it is compared
    with; ``parts`` the separate purchases that do better. None or empty where a code has no such number.
    """

    code: str
    detail: str
    kind: Kind
    amount: int | None = None
    units: int | None = None
    instead_amount: int | None = None
    instead_units: int | None = None
    parts: tuple[int, ...] = ()
