"""Reads endpoints, deliveries, and how the outbox is."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import ColumnElement, func
from sqlmodel import Session, col, select

from ..web.errors import not_found
from ..web.pagination import Page, page
from .retry import DeliveryState
from .rows import WebhookDeliveryRow, WebhookEndpointRow


@dataclass(frozen=True, slots=True)
class Outbox:
    """How the outbox is: what waits, since when the oldest that may be sent has been due (an endpoint that
    rests after a failure does not count), what was given up, who is off."""

    waiting: int
    oldest_due_at: datetime | None
    gave_up: int
    off: tuple[str, ...]

    def overdue(self, *, now: datetime) -> timedelta:
        """Return how long the oldest delivery that may be sent has been due."""
        return max(now - self.oldest_due_at, timedelta(0)) if self.oldest_due_at is not None else timedelta(0)


def get_endpoint(session: Session, endpoint_id: UUID) -> WebhookEndpointRow:
    """Return an endpoint; ``not_found`` where there is none."""
    row = session.get(WebhookEndpointRow, endpoint_id)
    if row is None:
        raise not_found("webhook endpoint")
    return row


def page_endpoints(session: Session, *, limit: int, after: UUID | None) -> Page[WebhookEndpointRow]:
    """Return endpoints in the order in which they were made."""
    return page(session, select(WebhookEndpointRow), key=col(WebhookEndpointRow.id), limit=limit, after=after)


def waiting_at(session: Session, endpoint_ids: Collection[UUID]) -> dict[UUID, int]:
    """Return how many deliveries wait for each of some endpoints; of one without any there is no entry."""
    query = (
        select(WebhookDeliveryRow.endpoint_id, func.count())
        .where(col(WebhookDeliveryRow.endpoint_id).in_(endpoint_ids), WebhookDeliveryRow.state == "waiting")
        .group_by(col(WebhookDeliveryRow.endpoint_id))
    )
    return dict(session.exec(query).all())


def page_deliveries(
    session: Session, endpoint_id: UUID, *, state: DeliveryState | None, limit: int, after: UUID | None
) -> Page[WebhookDeliveryRow]:
    """Return the deliveries to an endpoint in the order in which they were queued."""
    get_endpoint(session, endpoint_id)
    query = select(WebhookDeliveryRow).where(WebhookDeliveryRow.endpoint_id == endpoint_id)
    if state is not None:
        query = query.where(WebhookDeliveryRow.state == state)
    return page(session, query, key=col(WebhookDeliveryRow.id), limit=limit, after=after)


def endpoints_with_work(session: Session, *, now: datetime) -> Sequence[UUID]:
    """Return the endpoints to which something may be sent now."""
    due = (
        select(WebhookDeliveryRow.id)
        .where(
            col(WebhookDeliveryRow.endpoint_id) == col(WebhookEndpointRow.id),
            WebhookDeliveryRow.state == "waiting",
            col(WebhookDeliveryRow.next_at) <= now,
        )
        .exists()
    )
    return session.exec(select(WebhookEndpointRow.id).where(*_may_be_sent_to(now), due)).all()


def next_delivery(
    session: Session, endpoint_id: UUID, *, due_by: datetime, now: datetime
) -> tuple[WebhookEndpointRow, WebhookDeliveryRow] | None:
    """Return the delivery to an endpoint that has been due for longest; None where there is none, or nothing may be sent."""
    query = (
        select(WebhookEndpointRow, WebhookDeliveryRow)
        .join(WebhookDeliveryRow, col(WebhookDeliveryRow.endpoint_id) == col(WebhookEndpointRow.id))
        .where(
            WebhookEndpointRow.id == endpoint_id,
            *_may_be_sent_to(now),
            WebhookDeliveryRow.state == "waiting",
            col(WebhookDeliveryRow.next_at) <= due_by,
        )
        .order_by(col(WebhookDeliveryRow.next_at), col(WebhookDeliveryRow.id))
        .limit(1)
    )
    return session.exec(query).first()


def wants(session: Session, type_: str) -> bool:
    """Tell whether an endpoint that is on gets events of a type."""
    types = session.exec(select(WebhookEndpointRow.event_types).where(col(WebhookEndpointRow.off_since).is_(None)))
    return any(type_ in one for one in types.all())


def read_outbox(session: Session) -> Outbox:
    """Return how the outbox is."""
    oldest = (
        select(func.min(col(WebhookDeliveryRow.next_at)), WebhookEndpointRow.rests_until)
        .join(WebhookEndpointRow, col(WebhookEndpointRow.id) == col(WebhookDeliveryRow.endpoint_id))
        .where(WebhookDeliveryRow.state == "waiting", col(WebhookEndpointRow.off_since).is_(None))
        .group_by(col(WebhookEndpointRow.id), col(WebhookEndpointRow.rests_until))
    )
    due = [max(filter(None, of_one)) for of_one in session.exec(oldest)]
    by_state = dict(
        session.exec(
            select(WebhookDeliveryRow.state, func.count())
            .where(WebhookDeliveryRow.state != "delivered")
            .group_by(col(WebhookDeliveryRow.state))
        ).all()
    )
    off = select(WebhookEndpointRow.name).where(col(WebhookEndpointRow.off_because).in_(("gone", "failing")))
    return Outbox(
        waiting=by_state.get("waiting", 0),
        oldest_due_at=min(due, default=None),
        gave_up=by_state.get("gave_up", 0),
        off=tuple(session.exec(off.order_by(col(WebhookEndpointRow.id))).all()),
    )


def _may_be_sent_to(now: datetime) -> tuple[ColumnElement[bool], ...]:
    rests_until = col(WebhookEndpointRow.rests_until)
    return col(WebhookEndpointRow.off_since).is_(None), rests_until.is_(None) | (rests_until <= now)
