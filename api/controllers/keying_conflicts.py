"""Two keyings under one id: the same content, or what differs between them (R2)."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from ..pricing.errors import Fault


def conflicts(*, stored: Mapping[str, Any], sent: Mapping[str, Any]) -> tuple[Fault, ...]:
    """Return every place at which a keying differs from the stored one of its id (``same_id_other_content``)."""
    return tuple(
        Fault("same_id_other_content", name, _said(sent[name]), _said(stored[name]))
        for name in stored
        if stored[name] != sent[name]
    )


def _said(value: object) -> str:
    text = value.isoformat() if isinstance(value, date | datetime) else "" if value is None else str(value)
    return text[:80] or "nothing"
