"""Endpoints of webhooks, deliveries and events, as sent and received."""

from typing import Annotated

from pydantic import MISSING
from pydantic import Field as Limits

from ..web.schema_types import Id, In, Instant, Name, Out, PageOf, Yes
from .event import EventType, SentType
from .retry import DeliveryState, OffBecause

Url = Annotated[str, Limits(min_length=1, max_length=2000, pattern=r"^[!-~]+$")]
Types = Annotated[list[EventType], Limits(min_length=1, max_length=20, json_schema_extra={"uniqueItems": True})]
VenueIds = Annotated[list[Id], Limits(min_length=1, max_length=500)]


class WebhookEndpointIn(In):
    """An address that receives events."""

    name: Annotated[Name, Limits(description="What you call the receiver, such as Office display.")]
    url: Annotated[
        Url, Limits(description="Where events are posted: https, a public address, no user in it and no fragment.")
    ]
    event_types: Annotated[Types, Limits(description="The types of events that it gets.")]
    venue_ids: Annotated[
        VenueIds | MISSING, Limits(description="Only events at these venues; without it, events everywhere.")
    ] = MISSING


class WebhookEndpointChangeIn(In):
    """What to change; absent fields stay as they are."""

    name: Annotated[Name | MISSING, Limits(description="What you call the receiver.")] = MISSING
    url: Annotated[Url | MISSING, Limits(description="Where events are posted from now on.")] = MISSING
    event_types: Annotated[Types | MISSING, Limits(description="The types of events that it gets from now on.")] = (
        MISSING
    )
    venue_ids: Annotated[
        VenueIds | None | MISSING,
        Limits(description="Only events at these venues from now on; null: events everywhere."),
    ] = MISSING
    on: Annotated[
        Yes | MISSING,
        Limits(
            description="false: nothing is queued or sent until it is on again. true: switched on, also where the service "
            "switched it off; waiting deliveries that are not given up are then sent."
        ),
    ] = MISSING


class WebhookEndpointOut(Out):
    """An endpoint; never its secret. ``failures`` are those in a row since ``failing_since``.

    ``off_because``: ``owner`` switched it off, it answered 410 (``gone``), or it failed for three days (``failing``).
    ``two_secrets_until``: until then the secret before the present one signs too.
    """

    id: Id
    name: str
    url: str
    event_types: list[EventType]
    venue_ids: list[Id] | None
    on: bool
    off_since: Instant | None
    off_because: OffBecause | None
    failures: int
    failing_since: Instant | None
    waiting: Annotated[int, Limits(description="Deliveries that are still to be made.")]
    two_secrets_until: Instant | None
    made_at: Instant


class WebhookEndpointPage(PageOf[WebhookEndpointOut]):
    """A page of endpoints."""


class WebhookSecretOut(Out):
    """The secret that signs what an endpoint gets: shown this once. Keep it where the receiver reads it."""

    id: Id
    secret: str


class WebhookEventDataOut(Out):
    """What an event is about: its id, where, and the path to fetch it from with a token of your own.

    ``venue_id`` is null away from every venue, ``table_id`` where no single table is meant.
    """

    id: Id
    venue_id: Id | None
    table_id: Id | None
    path: str


class WebhookEventOut(Out):
    """An event as it is posted. ``timestamp``: when it happened; it may be sent later."""

    type: SentType
    timestamp: Instant
    data: WebhookEventDataOut


class WebhookDeliveryOut(Out):
    """An event on its way to an endpoint, and how the newest try went.

    ``webhook_id`` is the header of that name, the same at every try. ``status`` is what the receiver answered, null
    without an answer; ``says`` puts it in words.
    """

    id: Id
    endpoint_id: Id
    webhook_id: Id
    event: WebhookEventOut
    state: DeliveryState
    queued_at: Instant
    tries: int
    tried_at: Instant | None
    status: int | None
    says: str
    next_try_at: Instant | None
    gives_up_at: Annotated[Instant, Limits(description="No try begins after this.")]


class WebhookDeliveryPage(PageOf[WebhookDeliveryOut]):
    """A page of deliveries."""
