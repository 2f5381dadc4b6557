"""Webhooks in the database: endpoints, the outbox, and what became of each delivery.

- ``publish`` writes an event into the outbox in the transaction of what happened: both are stored, or neither is. A
  preview leaves nothing. It costs one small query where nobody listens.
- An event goes to the endpoints that are on when it happens. What happens while one is off is not sent to it later.
- Delivery is at least once and in no promised order: a delivery that was sent and not yet recorded is sent again.
- Secrets are kept as they are, for every message is signed by them; no answer shows one but that which makes it.
- Delivered rows are purged after 14 days, those given up after 30.
- Locks: none where something happens; the endpoint where a try is recorded, or an owner changes it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from pydantic import MISSING
from sqlalchemy import delete, insert, update
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..store.clock import new_id
from ..venues.service import get_venue
from ..web.errors import Problem, not_found
from ..web.schema_types import value_or
from .convert import endpoint_out, event_of
from .event import TEST, Event, body_of, is_wanted
from .queries import next_delivery, waiting_at
from .retry import GIVE_UP_AFTER, DeliveryDecision, Tried, after_try
from .rows import DELIVERY, ENDPOINT, WebhookDeliveryRow, WebhookEndpointRow
from .schemas import WebhookEndpointChangeIn, WebhookEndpointIn, WebhookEndpointOut
from .signature import new_secret, signed_headers
from .target import read_target

TWO_SECRETS_FOR = timedelta(days=3)
DELIVERED_KEPT_FOR = timedelta(days=14)
GIVEN_UP_KEPT_FOR = timedelta(days=30)
ENDPOINTS_MAX = 50

_LISTENING = select_columns(ENDPOINT.c.id, ENDPOINT.c.event_types, ENDPOINT.c.venue_ids).where(
    ENDPOINT.c.off_since.is_(None)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ToSend:
    """A message as it is to be posted, its delivery, and its endpoint."""

    delivery_id: UUID
    endpoint_id: UUID
    endpoint: str
    url: str
    headers: dict[str, str]
    body: bytes


@dataclass(frozen=True, slots=True)
class TryOutcome:
    """What a try came to: the endpoint's name, what the receiver said, and what was decided."""

    endpoint: str
    tried: Tried
    decided: DeliveryDecision


def publish(session: Session, events: Iterable[Event], *, now: datetime) -> None:
    """Write events into the outbox, one delivery for each endpoint that gets them; where nobody listens, none is read."""
    connection = session.connection()
    endpoints = connection.execute(_LISTENING).all()
    if not endpoints:
        return
    rows = []
    for event in events:
        event_id = new_id()
        rows += [
            {"id": new_id(), **_values(event, event_id, endpoint_id, now=now)}
            for endpoint_id, types, venue_ids in endpoints
            if is_wanted(event, types=types, venue_ids=venue_ids)
        ]
    if rows:
        connection.execute(insert(DELIVERY), rows)


def create_endpoint(
    session: Session, message: WebhookEndpointIn, *, any_address: bool, now: datetime
) -> tuple[UUID, str]:
    """Store an endpoint; return its id and, this once, its secret."""
    read_target(message.url, any_address=any_address)
    if len(session.exec(select(WebhookEndpointRow.id)).all()) >= ENDPOINTS_MAX:
        raise Problem("too_many_webhooks", f"There are {ENDPOINTS_MAX} endpoints. Delete one that is not used.")
    secret = new_secret()
    row = WebhookEndpointRow(
        id=new_id(),
        name=message.name,
        url=message.url,
        event_types=list(dict.fromkeys(message.event_types)),
        venue_ids=_venues(session, value_or(message.venue_ids, None)),
        secret=secret,
        made_at=now,
    )
    session.add(row)
    session.flush()
    return row.id, secret


def change_endpoint(
    session: Session, endpoint_id: UUID, message: WebhookEndpointChangeIn, *, any_address: bool, now: datetime
) -> WebhookEndpointOut:
    """Change an endpoint, or switch it on or off; another address or a switch ends its rest and its failures."""
    row = _locked(session, endpoint_id)
    if message.name is not MISSING:
        row.name = message.name
    if message.event_types is not MISSING:
        row.event_types = list(dict.fromkeys(message.event_types))
    if message.venue_ids is not MISSING:
        row.venue_ids = _venues(session, message.venue_ids)
    if message.url is not MISSING:
        read_target(message.url, any_address=any_address)
        row.url = message.url
        _begin_again(row)
    if message.on is not MISSING and message.on != (row.off_since is None):
        row.off_since, row.off_because = (None, None) if message.on else (now, "owner")
        _begin_again(row)
    session.flush()
    return endpoint_out(row, waiting=waiting_at(session, [row.id]).get(row.id, 0))


def delete_endpoint(session: Session, endpoint_id: UUID) -> None:
    """Delete an endpoint, its secrets, and its deliveries, also those that wait."""
    session.delete(_locked(session, endpoint_id))
    session.execute(delete(WebhookDeliveryRow).where(col(WebhookDeliveryRow.endpoint_id) == endpoint_id))
    session.flush()


def replace_secret(session: Session, endpoint_id: UUID, *, now: datetime) -> str:
    """Replace the secret and return the new one, this once; the old one signs too for three days."""
    row = _locked(session, endpoint_id)
    row.previous_secret, row.previous_until = row.secret, now + TWO_SECRETS_FOR
    row.secret = new_secret()
    session.flush()
    return row.secret


def send_test(session: Session, endpoint_id: UUID, *, now: datetime) -> WebhookDeliveryRow:
    """Queue a test event, and let a resting endpoint try at once; refuse (``webhook_off``) an endpoint that is off."""
    endpoint = _on(_locked(session, endpoint_id))
    endpoint.rests_until = None
    event = Event(type=TEST, subject_id=endpoint.id, venue_id=None, at=now)
    delivery_id, event_id = new_id(), new_id()
    row = WebhookDeliveryRow(id=delivery_id, **_values(event, event_id, endpoint.id, now=now))
    session.add(row)
    session.flush()
    return row


def send_again(session: Session, delivery_id: UUID, *, now: datetime) -> WebhookDeliveryRow:
    """Queue a delivery once more, whatever became of it, under the id it had; refuse an endpoint that is off.

    An endpoint that rests after a failure is tried at once: who asks has mended it.
    """
    endpoint_id = session.exec(
        select(WebhookDeliveryRow.endpoint_id).where(WebhookDeliveryRow.id == delivery_id)
    ).first()
    if endpoint_id is None:
        raise not_found("delivery")
    endpoint = _on(_locked(session, endpoint_id))
    row = session.get(WebhookDeliveryRow, delivery_id)
    if row is None:
        raise not_found("delivery")
    endpoint.rests_until = None
    row.state, row.tries, row.next_at, row.give_up_at = "waiting", 0, now, now + GIVE_UP_AFTER
    session.flush()
    return row


def next_to_send(session: Session, endpoint_id: UUID, *, due_by: datetime, now: datetime) -> ToSend | None:
    """Return what is to be posted next to an endpoint, signed; None where there is nothing."""
    found = next_delivery(session, endpoint_id, due_by=due_by, now=now)
    if found is None:
        return None
    endpoint, delivery = found
    secrets = [endpoint.secret]
    if endpoint.previous_secret is not None and endpoint.previous_until is not None and endpoint.previous_until > now:
        secrets.append(endpoint.previous_secret)
    body = body_of(event_of(delivery))
    return ToSend(
        delivery_id=delivery.id,
        endpoint_id=endpoint.id,
        endpoint=endpoint.name,
        url=endpoint.url,
        headers=signed_headers(str(delivery.event_id), body, timestamp_s=int(now.timestamp()), by=secrets),
        body=body,
    )


def record_try(session: Session, sent: ToSend, tried: Tried, *, random: float, now: datetime) -> TryOutcome | None:
    """Record how a try went, and what follows from it; None where the endpoint or the delivery is gone meanwhile."""
    query = select(WebhookEndpointRow).where(WebhookEndpointRow.id == sent.endpoint_id).with_for_update()
    endpoint = session.exec(query).first()
    delivery = session.get(WebhookDeliveryRow, sent.delivery_id)
    if endpoint is None or delivery is None:
        return None

    decided = after_try(
        tried,
        tries=delivery.tries + 1,
        give_up_at=delivery.give_up_at,
        failures=endpoint.failures,
        failing_since=endpoint.failing_since,
        random=random,
        now=now,
    )

    delivery.tries, delivery.tried_at = delivery.tries + 1, now
    delivery.state, delivery.next_at = decided.state, decided.next_at
    delivery.status, delivery.says = tried.status, tried.says
    endpoint.failures, endpoint.failing_since = decided.failures, decided.failing_since
    endpoint.rests_until = decided.rests_until
    if decided.off_because is not None and endpoint.off_since is None:
        endpoint.off_since, endpoint.off_because = now, decided.off_because
    session.flush()
    return TryOutcome(endpoint.name, tried, decided)


def purge_old_deliveries(session: Session, *, now: datetime) -> int:
    """Give up what has waited too long, and purge what is old; return how many deliveries were given up."""
    waiting = (col(WebhookDeliveryRow.state) == "waiting", col(WebhookDeliveryRow.give_up_at) <= now)
    given_up = len(session.exec(select(WebhookDeliveryRow.id).where(*waiting)).all())
    if given_up:
        session.execute(update(WebhookDeliveryRow).where(*waiting).values(state="gave_up", next_at=None))
    for state, kept_for in (("delivered", DELIVERED_KEPT_FOR), ("gave_up", GIVEN_UP_KEPT_FOR)):
        old = (col(WebhookDeliveryRow.state) == state, col(WebhookDeliveryRow.queued_at) <= now - kept_for)
        session.execute(delete(WebhookDeliveryRow).where(*old))
    of_nobody = col(WebhookDeliveryRow.endpoint_id).not_in(select(WebhookEndpointRow.id))
    session.execute(delete(WebhookDeliveryRow).where(of_nobody))
    session.execute(
        update(WebhookEndpointRow)
        .where(col(WebhookEndpointRow.previous_until) <= now)
        .values(previous_secret=None, previous_until=None)
    )
    return given_up


def _values(event: Event, event_id: UUID, endpoint_id: UUID, *, now: datetime) -> dict[str, Any]:
    return {
        "event_id": event_id,
        "endpoint_id": endpoint_id,
        "type": event.type,
        "subject_id": event.subject_id,
        "venue_id": event.venue_id,
        "table_id": event.table_id,
        "happened_at": event.at,
        "queued_at": now,
        "state": "waiting",
        "tries": 0,
        "next_at": now,
        "give_up_at": now + GIVE_UP_AFTER,
        "says": "",
    }


def _locked(session: Session, endpoint_id: UUID) -> WebhookEndpointRow:
    query = select(WebhookEndpointRow).where(WebhookEndpointRow.id == endpoint_id).with_for_update()
    row = session.exec(query).first()
    if row is None:
        raise not_found("webhook endpoint")
    return row


def _on(row: WebhookEndpointRow) -> WebhookEndpointRow:
    if row.off_since is not None:
        raise Problem("webhook_off")
    return row


def _begin_again(row: WebhookEndpointRow) -> None:
    row.failures, row.failing_since, row.rests_until = 0, None, None


def _venues(session: Session, venue_ids: Sequence[UUID] | None) -> list[str] | None:
    """Return the ids of some venues as they are stored; refuse (``not_found``) one that does not exist."""
    return (
        None if venue_ids is None else [str(get_venue(session, venue_id).id) for venue_id in dict.fromkeys(venue_ids)]
    )
