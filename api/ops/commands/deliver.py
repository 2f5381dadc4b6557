"""``baizebook deliver``: send webhooks."""

from ...store.settings import get_settings
from ...web.redaction import without_tokens
from ..command_database import existing_database
from ..terminal import complain, say
from ..webhook_delivery import AnotherDelivers, PlaceLost, deliver_webhooks


def deliver(*, once: bool) -> int:
    """Send webhooks; the status is 1 where this cannot deliver, and 0 where ``once`` another process does so already."""
    engine, any_address = existing_database(), get_settings().webhook_addresses == "any"
    try:
        deliver_webhooks(engine, once=once, any_address=any_address, say=lambda line: say(without_tokens(line)))
    except AnotherDelivers:
        complain("Another process delivers webhooks for this database.")
        return 0 if once else 1
    except PlaceLost:
        complain("The database went away. Start this again: nothing is lost.")
        return 1
    return 0
