"""HTTP for endpoints of webhooks and their deliveries; and, for the contract, the events that are posted to them."""

from typing import Annotated

from fastapi import APIRouter, Query, Request

from ..web.auth import OwnerDep
from ..web.dependencies import NowDep, SessionDep, shows_token
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import PageDep
from ..web.schema_types import Id
from . import queries, service
from .convert import delivery_out, endpoint_out
from .retry import DeliveryState
from .schemas import (
    WebhookDeliveryOut,
    WebhookDeliveryPage,
    WebhookEndpointChangeIn,
    WebhookEndpointIn,
    WebhookEndpointOut,
    WebhookEndpointPage,
    WebhookEventOut,
    WebhookSecretOut,
)

router = APIRouter(prefix="/v1", tags=["webhooks"], route_class=Route)


@router.post("/webhook-endpoints", status_code=201, responses=problems(409))
@shows_token
def create_webhook_endpoint(
    request: Request, session: SessionDep, principal: OwnerDep, now: NowDep, endpoint: WebhookEndpointIn
) -> WebhookSecretOut:
    """Make an endpoint for webhooks. Its secret is shown in this answer and never again.

    Events that happen from now on are posted to the address, signed by the Standard Webhooks scheme. `baizebook deliver`
    must run: it is what sends them. The address must be https and public, unless the service's settings allow any.
    """
    any_address = request.app.state.settings.webhook_addresses == "any"
    endpoint_id, secret = service.create_endpoint(session, endpoint, any_address=any_address, now=now)
    return WebhookSecretOut(id=endpoint_id, secret=secret)


@router.get("/webhook-endpoints", responses=problems())
def list_webhook_endpoints(asked: PageDep, session: SessionDep, principal: OwnerDep) -> WebhookEndpointPage:
    """List the endpoints in the order in which they were made; never their secrets."""
    found = queries.page_endpoints(session, limit=asked.limit, after=asked.after)
    waiting = queries.waiting_at(session, [row.id for row in found.rows])
    return asked.write(
        WebhookEndpointPage, found, lambda rows: [endpoint_out(row, waiting=waiting.get(row.id, 0)) for row in rows]
    )


@router.get("/webhook-endpoints/{webhook_endpoint_id}", responses=problems())
def get_webhook_endpoint(session: SessionDep, principal: OwnerDep, webhook_endpoint_id: Id) -> WebhookEndpointOut:
    """Return an endpoint: whether it is on, why not, and how many deliveries wait."""
    row = queries.get_endpoint(session, webhook_endpoint_id)
    return endpoint_out(row, waiting=queries.waiting_at(session, [row.id]).get(row.id, 0))


@router.patch("/webhook-endpoints/{webhook_endpoint_id}", responses=problems())
def change_webhook_endpoint(
    request: Request,
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    webhook_endpoint_id: Id,
    change: WebhookEndpointChangeIn,
) -> WebhookEndpointOut:
    """Change an endpoint, or switch it on or off. What happens while it is off is not sent later."""
    any_address = request.app.state.settings.webhook_addresses == "any"
    return service.change_endpoint(session, webhook_endpoint_id, change, any_address=any_address, now=now)


@router.delete("/webhook-endpoints/{webhook_endpoint_id}", status_code=204, responses=problems())
def delete_webhook_endpoint(session: SessionDep, principal: OwnerDep, webhook_endpoint_id: Id) -> None:
    """Delete an endpoint, its secret and its deliveries: nothing more is sent to it."""
    service.delete_endpoint(session, webhook_endpoint_id)


@router.post("/webhook-endpoints/{webhook_endpoint_id}/secret", status_code=201, responses=problems())
@shows_token
def replace_webhook_secret(
    session: SessionDep, principal: OwnerDep, now: NowDep, webhook_endpoint_id: Id
) -> WebhookSecretOut:
    """Replace the secret of an endpoint. The new one is shown in this answer and never again.

    For three days messages carry two signatures, one by each secret, so the receiver can change over when it suits. To
    shut out somebody who knows the old secret, delete the endpoint and make another.
    """
    secret = service.replace_secret(session, webhook_endpoint_id, now=now)
    return WebhookSecretOut(id=webhook_endpoint_id, secret=secret)


@router.post("/webhook-endpoints/{webhook_endpoint_id}/test", status_code=201, responses=problems(409))
def send_test_webhook(
    session: SessionDep, principal: OwnerDep, now: NowDep, webhook_endpoint_id: Id
) -> WebhookDeliveryOut:
    """Queue an event of type `webhook.test` for an endpoint. The list of deliveries says how it went."""
    return delivery_out(service.send_test(session, webhook_endpoint_id, now=now))


@router.get("/webhook-endpoints/{webhook_endpoint_id}/deliveries", responses=problems())
def list_webhook_deliveries(
    asked: PageDep,
    session: SessionDep,
    principal: OwnerDep,
    webhook_endpoint_id: Id,
    state: Annotated[DeliveryState | None, Query(description="Only deliveries in this state.")] = None,
) -> WebhookDeliveryPage:
    """List the deliveries to an endpoint in the order in which they were queued: what was sent, and how it went.

    Delivered ones stay for 14 days, those given up for 30.
    """
    found = queries.page_deliveries(session, webhook_endpoint_id, state=state, limit=asked.limit, after=asked.after)
    return asked.write(WebhookDeliveryPage, found, lambda rows: [delivery_out(row) for row in rows])


@router.post("/webhook-deliveries/{delivery_id}/again", status_code=201, responses=problems(409))
def send_webhook_again(session: SessionDep, principal: OwnerDep, now: NowDep, delivery_id: Id) -> WebhookDeliveryOut:
    """Queue a delivery once more, whatever became of it: with the same `webhook-id`, and as many tries as at first.

    It is sent at once, also to an endpoint that rests after failures."""
    return delivery_out(service.send_again(session, delivery_id, now=now))


events = APIRouter(tags=["webhooks"], generate_unique_id_function=lambda route: route.name)
"""What is posted to endpoints: written into the contract, and answered by nobody here."""


@events.post("reading.recorded", status_code=204)
def reading_recorded(event: WebhookEventOut) -> None:
    """A reading was recorded, also by an import. `data.id` is the reading's.

    Every event is a POST with the headers `webhook-id`, `webhook-timestamp` and `webhook-signature` of Standard Webhooks
    1.0.0. Delivery is at least once and in no promised order: keep the `webhook-id`s that you have seen, and fetch
    `data.path` for the present state. Answer 2xx within 15 seconds, before you work on it; all else is tried again, 12
    times within three days. Answer 410 to be switched off. Redirects are not followed.
    """


@events.post("collection.recorded", status_code=204)
def collection_recorded(event: WebhookEventOut) -> None:
    """A collection was recorded. `data.id` is the collection's; `data.table_id` is null."""


@events.post("work.due", status_code=204)
def work_due(event: WebhookEventOut) -> None:
    """Work came onto the worklist because its time has come, or became more urgent. `data.id` is the work's.

    Once for each item, again when its `code` changes, and again when the date comes until which it was put off.
    """


@events.post("job.reported", status_code=204)
def job_reported(event: WebhookEventOut) -> None:
    """A fault was reported. `data.id` is the job's."""


@events.post("webhook.test", status_code=204)
def webhook_test(event: WebhookEventOut) -> None:
    """An owner tries an endpoint. `data.id` is the endpoint's."""
