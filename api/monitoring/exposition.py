"""The figures of the route in the text format of Prometheus (the exposition format, version 1.0.0, by its own library)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from prometheus_client import CollectorRegistry, Gauge, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_LATEST

CONTENT_TYPE = CONTENT_TYPE_LATEST


@dataclass(frozen=True, slots=True)
class Watched:
    """How the route is: tables at venues, the one that went longest without a reading, open work, the books, the outbox."""

    tables: int
    never_read: int
    oldest_reading_at: datetime | None
    open_work: dict[str, int]
    entries: int
    webhooks_waiting: int
    webhooks_oldest_due_at: datetime | None
    webhooks_gave_up: int


def exposed(found: Watched, requests: CollectorRegistry, *, now: datetime) -> bytes:
    """Return the figures of a process, then those of the route at an instant."""
    registry = CollectorRegistry()
    plain = {
        "baizebook_tables_at_venues": ("Tables that stand at venues.", found.tables),
        "baizebook_tables_never_read": ("Of these, tables without any reading.", found.never_read),
        "baizebook_webhooks_waiting": ("Webhooks that are still to be delivered.", found.webhooks_waiting),
        "baizebook_webhooks_gave_up": ("Webhooks that were given up in the last 30 days.", found.webhooks_gave_up),
        "baizebook_ledger_entries": ("The number of the newest entry in the books.", found.entries),
    }
    for name, (text, value) in plain.items():
        Gauge(name, text, registry=registry).set(value)
    if found.oldest_reading_at is not None:
        text = "Age of the newest reading of the table that was not read for longest."
        age = Gauge("baizebook_oldest_reading_seconds", text, registry=registry)
        age.set((now - found.oldest_reading_at).total_seconds())
    overdue_s = 0.0 if found.webhooks_oldest_due_at is None else (now - found.webhooks_oldest_due_at).total_seconds()
    text = "How long the oldest webhook that may be sent has been due."
    Gauge("baizebook_webhooks_overdue_seconds", text, registry=registry).set(max(overdue_s, 0.0))
    work = Gauge("baizebook_open_work", "Work on record, by kind.", ("kind",), registry=registry)
    for kind, count in sorted(found.open_work.items()):
        work.labels(kind).set(count)
    return generate_latest(requests) + generate_latest(registry)
