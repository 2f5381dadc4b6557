"""Whether a table that leaves may hold money: a day at a venue since its box was last known to be empty."""

from datetime import UTC, datetime, timedelta

import pytest
from baizebook.lifecycle.last_collection import Stayed, may_hold_money


def on(day: int, hour: int = 12) -> datetime:
    return datetime(2026, 11, day, hour, tzinfo=UTC)


BAR = Stayed(on(1), at_venue=True, box_empty=True)
WORKSHOP = Stayed(on(10), at_venue=False, box_empty=True)
CARRIED = Stayed(on(10), at_venue=False, box_empty=False)


@pytest.mark.parametrize(
    ("stays", "collected_at", "at", "may"),
    [
        ([BAR], None, on(1), False),
        ([BAR], None, on(2), False),  # a day to the second
        ([BAR], None, on(2) + timedelta(seconds=1), True),
        ([BAR], on(8), on(8), False),
        ([BAR], on(8), on(9), False),
        ([BAR], on(8), on(9, 13), True),
        ([BAR, WORKSHOP], None, on(20), False),  # emptied as it moved
        ([BAR, CARRIED], None, on(20), True),  # its box travelled with it
        ([BAR, CARRIED], on(11), on(20), False),  # collected in the workshop
        ([BAR, CARRIED], on(9, 13), on(20), False),  # collected less than a day before
        ([BAR, WORKSHOP, Stayed(on(12), at_venue=True, box_empty=False)], None, on(20), True),
        ([Stayed(on(1), at_venue=True, box_empty=False)], None, on(1), False),
    ],
)
def test_a_day_at_a_venue_since_it_was_empty(
    stays: list[Stayed], collected_at: datetime | None, at: datetime, may: bool
) -> None:
    assert may_hold_money(stays, collected_at=collected_at, at=at) is may
