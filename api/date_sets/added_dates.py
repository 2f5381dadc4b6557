"""Adding dates to a schedule: what a new version says, and what stays as it was (A6). Values in, values out.

- A new version keeps all that its schedule says. A date that the schedule has an entry for already keeps that entry:
  what somebody stated of one day weighs more than a list.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from .public_holidays import NamedDate


@dataclass(frozen=True, slots=True)
class AddedDates:
    """The terms of a new version, the dates that it adds, and those that its schedule had already, by its own names."""

    terms: dict[str, Any]
    added: tuple[NamedDate, ...]
    kept: tuple[NamedDate, ...]


def add_dates(
    terms: Mapping[str, Any], dates: Sequence[NamedDate], *, tariff: str | None, start: str | None, end: str | None
) -> AddedDates:
    """Return a schedule's terms with these dates added: a tariff (None: closed), all day or from ``start`` to ``end``."""
    stated: dict[str, str] = {entry["on"]: entry["name"] for entry in terms.get("dates", ())}
    times = {name: at for name, at in (("from", start), ("to", end)) if at is not None}
    added = [one for one in dates if one.on.isoformat() not in stated]
    kept = [NamedDate(date.fromisoformat(on), stated[on]) for one in dates if (on := one.on.isoformat()) in stated]
    entries = [{"name": one.name[:120], "on": one.on.isoformat(), "tariff": tariff, **times} for one in added]
    return AddedDates({**terms, "dates": [*terms.get("dates", ()), *entries]}, tuple(added), tuple(kept))
