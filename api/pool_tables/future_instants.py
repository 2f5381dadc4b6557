"""Instants that have not come: a sender's clock may be five minutes ahead, no more."""

from __future__ import annotations

from datetime import datetime, timedelta

from ..pricing.errors import domain_error

FUTURE_ALLOWED = timedelta(minutes=5)


def must_have_come(at: datetime, *, now: datetime, where: str) -> None:
    """Refuse (``invalid``) an instant that has not come."""
    if at > now + FUTURE_ALLOWED:
        raise domain_error("invalid", where=where, found=at.isoformat(), expected="an instant that has come")
