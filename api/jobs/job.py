"""What may become of a job: its states, when it may be closed, and what two reports under one id must agree in.

- A job is open, then assigned to a person or waiting for parts, in any order and as often as needed, until it is done.
- It is done once, at or after the time of its report, and not in the future.
- A report is sent once under its sender's id: sent again it changes nothing, with other content it is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Literal

from ..pricing.errors import DomainError, Fault

State = Literal["open", "assigned", "waiting_for_parts", "done"]

CONTENT = ("table_id", "reported_at", "fault", "words", "playable")
"""What a report says, by the names of its message."""


def state_of(*, last_step: str | None, is_done: bool) -> State:
    """Return a job's state from its last step, ``assigned`` or ``waiting_for_parts``, and whether it is done."""
    if is_done:
        return "done"
    if last_step is None:
        return "open"
    if last_step not in ("assigned", "waiting_for_parts"):
        raise ValueError(f"expected a step of a job, found {last_step!r}")
    return last_step  # type: ignore[return-value]


def must_follow(done_at: datetime, reported_at: datetime) -> None:
    """Refuse (``invalid``) a job that was done before it was reported."""
    if done_at < reported_at:
        raise DomainError(Fault("invalid", "at", done_at.isoformat(), f"{reported_at.isoformat()} or later"))


def report_differences(*, stored: Mapping[str, Any], sent: Mapping[str, Any], seen: bool) -> tuple[Fault, ...]:
    """Return in what two reports under one id differ; of a stored one that the sender does not see only that it does."""
    if stored["table_id"] != sent["table_id"] or not seen:
        return (Fault("same_id_other_content", "id", "an id that was used before", "an id of its own"),)
    return tuple(
        Fault("same_id_other_content", name, _said(sent[name]), _said(stored[name]))
        for name in CONTENT
        if stored[name] != sent[name]
    )


def _said(value: object) -> str:
    text = (
        value.isoformat()
        if isinstance(value, datetime)
        else str(value).lower()
        if value in (True, False)
        else str(value)
    )
    return text[:80] or "nothing"
