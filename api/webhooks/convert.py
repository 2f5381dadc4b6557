"""Between endpoints and deliveries as stored, events, and messages."""

from .event import Event, body_of
from .rows import WebhookDeliveryRow, WebhookEndpointRow
from .schemas import WebhookDeliveryOut, WebhookEndpointOut, WebhookEventOut


def event_of(row: WebhookDeliveryRow) -> Event:
    """Return the event that a delivery brings."""
    return Event(
        type=row.type, subject_id=row.subject_id, venue_id=row.venue_id, table_id=row.table_id, at=row.happened_at
    )


def endpoint_out(row: WebhookEndpointRow, *, waiting: int) -> WebhookEndpointOut:
    """Write an endpoint as its message, without its secret."""
    return WebhookEndpointOut.model_validate(
        {
            "id": row.id,
            "name": row.name,
            "url": row.url,
            "event_types": row.event_types,
            "venue_ids": row.venue_ids,
            "on": row.off_since is None,
            "off_since": row.off_since,
            "off_because": row.off_because,
            "failures": row.failures,
            "failing_since": row.failing_since,
            "waiting": waiting,
            "two_secrets_until": row.previous_until,
            "made_at": row.made_at,
        }
    )


def delivery_out(row: WebhookDeliveryRow) -> WebhookDeliveryOut:
    """Write a delivery as its message, with the event as it is sent."""
    return WebhookDeliveryOut.model_validate(
        {
            "id": row.id,
            "endpoint_id": row.endpoint_id,
            "webhook_id": row.event_id,
            "event": WebhookEventOut.model_validate_json(body_of(event_of(row))),
            "state": row.state,
            "queued_at": row.queued_at,
            "tries": row.tries,
            "tried_at": row.tried_at,
            "status": row.status,
            "says": row.says,
            "next_try_at": row.next_at,
            "gives_up_at": row.give_up_at,
        }
    )
