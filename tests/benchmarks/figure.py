"""A figure of a benchmark: how long ours takes and how long its peer takes, round by round, and the ratio."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from statistics import median
from time import process_time


@dataclass
class Figure:
    """Ours against a peer, one number a round: in seconds a piece, or in another ``unit`` of which less is better.

    ``reach``: the most that the ratio ours to theirs should be; None where it is only shown.
    """

    name: str
    ours: str
    theirs: str
    reach: float | None
    rounds: list[tuple[float, float]] = field(default_factory=list)
    unit: str = "s"

    @property
    def ratios(self) -> list[float]:
        """Return the ratio of each round."""
        return [ours / theirs for ours, theirs in self.rounds]

    @property
    def line(self) -> str:
        """Return the figure in words: ratio first, spread, medians, and what is to be reached."""
        ratios = sorted(self.ratios)
        ours, theirs = (median(side) for side in zip(*self.rounds, strict=True))
        goal = "" if self.reach is None else f" (reach {self.reach:g}: {'yes' if self.reached else 'no'})"
        spread = f"{ratios[0]:.2f} to {ratios[-1]:.2f}"
        return (
            f"{self.name:4} {median(ratios):8.2f} ×, {spread}{goal}\n"
            f"       {self.ours}: {_amount(ours, self.unit)}; {self.theirs}: {_amount(theirs, self.unit)}"
        )

    @property
    def reached(self) -> bool:
        """Tell whether the median ratio is within reach."""
        return self.reach is not None and median(self.ratios) <= self.reach


def compare(figure: Figure, ours: Callable[[], float], theirs: Callable[[], float], *, rounds: int) -> Figure:
    """Measure both in turn, so that whatever else the machine does meets both; return the figure."""
    figure.rounds = [(ours(), theirs()) for _ in range(rounds)]
    return figure


def cpu_seconds(work: Callable[[], object], *, pieces: int) -> float:
    """Return the processor time that one piece of a work takes in this process."""
    began = process_time()
    work()
    return (process_time() - began) / pieces


def as_json(figures: Sequence[Figure]) -> list[dict[str, object]]:
    """Return figures for a file."""
    return [
        {
            "name": figure.name, "ours": figure.ours, "theirs": figure.theirs, "ratio": median(figure.ratios),
            "lowest": min(figure.ratios), "highest": max(figure.ratios), "reach": figure.reach,
        }
        for figure in figures
    ]  # fmt: skip


def _amount(number: float, unit: str) -> str:
    return _duration(number) if unit == "s" else f"{number:,.0f} {unit}"


def _duration(seconds: float) -> str:
    for unit, size in (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6)):
        if seconds >= size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds * 1e9:.3g} ns"
