"""An event: something that happened, as a webhook sends it (Standard Webhooks 1.0.0). Values in, values out.

- An event is thin: the ids of what it is about and the path to fetch it from. Whoever receives one asks with a token of
  their own, which decides what they see; no amount of money, no name and no note travels in a webhook.
- The body of an event is the same bytes at every try, and has the same form for every type.
- An endpoint gets the types that it asked for, at its venues where it names some. An event away from every venue (a
  table in the workshop) goes to endpoints for all venues only.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal
from uuid import UUID

EventType = Literal["reading.recorded", "collection.recorded", "work.due", "job.reported"]

TEST = "webhook.test"
"""The type of an event that an owner sends to try an endpoint; every endpoint gets it."""

SentType = Literal[EventType, "webhook.test"]

_PATHS = {
    "reading.recorded": "/v1/readings/{}",
    "collection.recorded": "/v1/collections/{}",
    "work.due": "/v1/worklist/{}",
    "job.reported": "/v1/jobs/{}",
    TEST: "/v1/webhook-endpoints/{}",
}
"""Where what an event is about is fetched from, by type."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened: its type, the id of what it is about, where, and when."""

    type: str
    subject_id: UUID
    venue_id: UUID | None
    table_id: UUID | None = None
    at: datetime


def is_wanted(event: Event, *, types: Collection[str], venue_ids: Collection[str] | None) -> bool:
    """Tell whether an endpoint for these types and venues (None: all) gets an event."""
    return event.type in types and (venue_ids is None or str(event.venue_id) in venue_ids)


def path_of(event: Event) -> str:
    """Return the path that what an event is about is fetched from."""
    return _PATHS[event.type].format(event.subject_id)


def body_of(event: Event) -> bytes:
    """Return the body of an event: JSON in UTF-8 without spaces, the same bytes whenever it is written."""
    data = {
        "id": str(event.subject_id),
        "venue_id": None if event.venue_id is None else str(event.venue_id),
        "table_id": None if event.table_id is None else str(event.table_id),
        "path": path_of(event),
    }
    at = event.at.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return json.dumps({"type": event.type, "timestamp": at, "data": data}, separators=(",", ":")).encode()
