"""The effort of an answer is bounded and counted in the engine's own steps (E4).

- A step is about what one price tried for one unit costs; dearer things count as several, by their measured cost.
- Whoever answers several questions at once hands the same ``Effort`` to all of them. A question that needs more than what is
  left is refused (``too_much_work``) before it is made, with the count and what to make smaller.
- The count depends on the question alone, never on what is kept in memory (E2).
- Whoever counts also looks whether the answer is still wanted (``Stop``): unwanted work ends with the next count.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from .errors import pricing_error

STEPS_MAX = 12_000_000
"""The steps of one request: less than two seconds of one processor. A real question takes a few thousand at most."""
STEPS_OF_A_QUESTION = 200
STEPS_OF_AN_EVENT = 150
STEPS_OF_A_PIECE = 60
"""A piece of a trading day that is looked at."""
STEPS_OF_A_LINE = 400
"""A piece or a tier of a play that is priced and put into words."""


class Stopped(BaseException):
    """Nobody wants the answer any more. No ``Exception``: what handles mistakes and refusals must let it pass."""


@dataclass(slots=True)
class Stop:
    """Whether an answer is still wanted; one thread works, any other may call ``end``.

    ``on_end`` ends what the work waits for meanwhile; it returns at once.
    """

    ended: bool = False
    on_end: Callable[[], object] | None = None

    def end(self) -> None:
        """Let the work end at its next look."""
        self.ended = True
        if (on_end := self.on_end) is not None:
            on_end()

    def look(self) -> None:
        """Raise ``Stopped`` where the answer is not wanted any more. Takes no more than a step."""
        if self.ended:
            raise Stopped


@dataclass(slots=True)
class Effort:
    """The steps taken so far, the most that may be taken, and whether they are still wanted."""

    steps_max: int = STEPS_MAX
    steps: int = 0
    stop: Stop = field(default_factory=Stop)

    def spend(self, steps: int, *, where: str, smaller: str) -> None:
        """Count ``steps`` about to be taken for the field ``where``; refuse (``too_much_work``) more than there are.

        ``smaller`` says what to make smaller. Raises ``Stopped`` where they are not wanted any more.
        """
        if self.stop.ended:
            raise Stopped
        if self.steps + steps > self.steps_max:
            found = f"{self.steps + steps} steps of work"
            raise pricing_error(
                "too_much_work", where=where, found=found, expected=f"at most {self.steps_max} in a request: {smaller}"
            )
        self.steps += steps
