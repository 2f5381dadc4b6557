"""What a fault test is: seeded rounds that must hold, and a control that must not.

A file ``tests/faults/f<number>_<name>.py`` defines ``FAULT``; it is found by its name. ``run`` takes a seeded source of
chance and a number of rounds, returns in a sentence what was reached, and raises ``Broken`` where a promise did not
hold. ``control`` is the same test under a setting known to be bad; it must raise ``Broken``, else the test proves nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass
from random import Random


class Broken(Exception):
    """A promise did not hold; the text says which, and what was found."""


class NotReady(Broken):
    """The service did not come up: a promise broken in a run, and nothing at all found by a control."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One kind of fault; ``short`` rounds take seconds, ``long`` ones minutes."""

    name: str
    says: str
    run: Callable[[Random, int], str]
    control: Callable[[Random], object]
    short: int
    long: int


def check(holds: bool, text: str) -> None:
    """Raise ``Broken`` with a text unless something holds."""
    if not holds:
        raise Broken(text)
