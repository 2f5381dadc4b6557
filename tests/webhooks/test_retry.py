"""What becomes of a delivery after a try: waits that grow, an end that is stated, and endpoints that are switched off."""

from datetime import UTC, datetime, timedelta

import pytest
from baizebook.webhooks.retry import DeliveryDecision, Tried, after_try, read_retry_after

NOW = datetime(2026, 11, 25, 17, 0, tzinfo=UTC)
DAY = timedelta(days=1)


def decide(status: int | None, *, tries: int = 1, **changes: object) -> DeliveryDecision:
    """Decide on a try whose delivery was queued just now, at an endpoint that never failed."""
    facts = {"give_up_at": NOW + 3 * DAY, "failures": 0, "failing_since": None, "random": 0.5, "now": NOW, **changes}
    tried = Tried(status=status, says="", retry_after=facts.pop("retry_after", None))  # type: ignore[arg-type]
    return after_try(tried, tries=tries, **facts)  # type: ignore[arg-type]


@pytest.mark.parametrize("status", [200, 201, 204, 299])
def test_an_answer_of_the_two_hundreds_is_a_delivery_and_ends_what_was_failing(status: int) -> None:
    decided = decide(status, failures=7, failing_since=NOW - DAY)
    assert (decided.state, decided.next_at, decided.failures, decided.failing_since) == ("delivered", None, 0, None)


@pytest.mark.parametrize("status", [None, 199, 301, 307, 400, 404, 429, 500, 503])
def test_anything_else_is_tried_again(status: int | None) -> None:
    decided = decide(status)
    assert (decided.state, decided.failures, decided.failing_since) == ("waiting", 1, NOW)
    assert decided.next_at == NOW + timedelta(seconds=5)
    assert decided.off_because is None


def test_waits_grow_fourfold_to_twelve_hours_and_the_twelfth_try_is_the_last() -> None:
    waits = []
    for tries in range(1, 12):
        next_at = decide(500, tries=tries).next_at
        assert next_at is not None
        waits.append((next_at - NOW).total_seconds())
    assert waits == [5, 20, 80, 320, 1280, 5120, 20480, 43200, 43200, 43200, 43200]
    assert timedelta(seconds=sum(waits)) < 3 * DAY
    last = decide(500, tries=12)
    assert (last.state, last.next_at) == ("gave_up", None)


def test_chance_moves_a_wait_by_a_quarter_either_way() -> None:
    least, most = decide(500, tries=3, random=0.0).next_at, decide(500, tries=3, random=0.999999).next_at
    assert least == NOW + timedelta(seconds=60)
    assert most is not None
    assert timedelta(seconds=99) < most - NOW < timedelta(seconds=100)


def test_a_delivery_is_given_up_where_the_next_try_would_come_after_three_days() -> None:
    assert decide(500, tries=8, give_up_at=NOW + timedelta(hours=11)).state == "gave_up"
    assert decide(500, tries=8, give_up_at=NOW + timedelta(hours=13)).state == "waiting"


def test_a_receiver_may_ask_to_wait_but_for_no_longer_than_twelve_hours() -> None:
    assert decide(503, retry_after=timedelta(minutes=10)).next_at == NOW + timedelta(minutes=10)
    assert decide(503, retry_after=timedelta(minutes=10)).rests_until == NOW + timedelta(minutes=10)
    assert decide(503, retry_after=timedelta(seconds=1)).next_at == NOW + timedelta(seconds=5)
    assert decide(503, retry_after=timedelta(days=400)).next_at == NOW + timedelta(hours=12)


def test_an_endpoint_rests_after_a_failure_for_an_hour_at_most() -> None:
    rests = [decide(500, failures=before).rests_until for before in (0, 1, 3, 9, 1000)]
    assert [(at - NOW).total_seconds() for at in rests if at] == [5, 20, 320, 3600, 3600]


def test_an_endpoint_that_is_gone_is_switched_off_and_so_is_one_that_failed_for_three_days() -> None:
    gone = decide(410)
    assert (gone.state, gone.off_because) == ("gave_up", "gone")
    assert decide(500, failures=9, failing_since=NOW - 3 * DAY).off_because == "failing"
    assert decide(500, failures=9, failing_since=NOW - 3 * DAY + timedelta(seconds=1)).off_because is None


@pytest.mark.parametrize(
    ("text", "wait"),
    [
        (None, None),
        ("120", timedelta(minutes=2)),
        ("0", timedelta(0)),
        ("Wed, 25 Nov 2026 17:01:00 GMT", timedelta(minutes=1)),
        ("Wed, 25 Nov 2026 16:00:00 GMT", timedelta(0)),
        ("-5", None),
        ("soon", None),
        ("9" * 400, None),
        ("Wed, 25 Nov 2026 17:01:00", None),
        ("²", None),
    ],
)
def test_retry_after_is_seconds_or_a_date(text: str | None, wait: timedelta | None) -> None:
    assert read_retry_after(text, now=NOW) == wait
