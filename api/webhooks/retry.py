"""What becomes of a delivery after a try: delivered, tried again later, or given up. Values in, values out.

- Any answer of 200 to 299 is success, all else a failure: no answer, another status, a redirect (it is not followed).
- The wait after the n-th try is 5 s times 4 to the power n - 1, at most 12 hours, by a random factor between 0.75 and 1.25;
  where the receiver names a time to come back (``Retry-After``), at least that, at most 12 hours.
- A delivery is given up after 12 tries, or three days after it was queued, whatever comes first. It stays on record
  and can be sent again.
- After a failure the endpoint rests: 5 s times 4 to the power of the failures in a row - 1, at most an hour. An endpoint
  that is down is so asked by one delivery at a time, and one that refuses a single delivery still gets the others.
- An endpoint that answers 410 (gone), or that has failed for three days without one success, is switched off.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Literal

TRIES_MAX = 12
GIVE_UP_AFTER = timedelta(days=3)
OFF_AFTER = timedelta(days=3)
FIRST_WAIT = timedelta(seconds=5)
WAIT_MAX = timedelta(hours=12)
REST_MAX = timedelta(hours=1)
STATUS_GONE = 410
_TIMES = 4

OffBecause = Literal["owner", "gone", "failing"]
"""Why an endpoint is off: an owner switched it off, it answered 410, or it failed for three days."""

DeliveryState = Literal["waiting", "delivered", "gave_up"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """What a try brought: the status of the answer (None: there was none), words for it, and when to come back."""

    status: int | None
    says: str
    retry_after: timedelta | None = None

    @property
    def succeeded(self) -> bool:
        """Tell whether the receiver took it."""
        return self.status is not None and 200 <= self.status < 300


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliveryDecision:
    """What becomes of the delivery, and of its endpoint."""

    state: DeliveryState
    next_at: datetime | None
    failures: int
    failing_since: datetime | None
    rests_until: datetime | None
    off_because: OffBecause | None


def after_try(
    tried: Tried,
    *,
    tries: int,
    give_up_at: datetime,
    failures: int,
    failing_since: datetime | None,
    random: float,
    now: datetime,
) -> DeliveryDecision:
    """Return what becomes of a delivery and its endpoint after a try.

    ``tries`` counts this one too; ``failures`` are those of the endpoint in a row before it, since ``failing_since``;
    ``random`` is at least 0 and below 1.
    """
    if tried.succeeded:
        return DeliveryDecision(
            state="delivered", next_at=None, failures=0, failing_since=None, rests_until=None, off_because=None
        )
    failures, since = failures + 1, failing_since or now
    off: OffBecause | None = None
    if tried.status == STATUS_GONE:
        off = "gone"
    elif now - since >= OFF_AFTER:
        off = "failing"
    factor = 0.75 + random / 2
    asked = min(tried.retry_after or timedelta(0), WAIT_MAX)
    next_at = now + max(growing(tries, WAIT_MAX) * factor, asked)
    is_over = tries >= TRIES_MAX or next_at >= give_up_at or tried.status == STATUS_GONE
    return DeliveryDecision(
        state="gave_up" if is_over else "waiting",
        next_at=None if is_over else next_at,
        failures=failures,
        failing_since=since,
        rests_until=now + max(growing(failures, REST_MAX) * factor, asked),
        off_because=off,
    )


def growing(times: int, most: timedelta) -> timedelta:
    """Return the wait after a number of tries (from 1), at most ``most``."""
    factor: int = _TIMES ** min(times - 1, 20)
    return min(FIRST_WAIT * factor, most)


def read_retry_after(text: str | None, *, now: datetime) -> timedelta | None:
    """Return how long a receiver asks to wait (RFC 9110, 10.2.3: seconds, or a date); None where it does not say."""
    if text is None:
        return None
    if text.isascii() and text.isdecimal() and len(text) <= 9:
        return timedelta(seconds=int(text))
    try:
        at = parsedate_to_datetime(text)
        return max(at - now, timedelta(0))
    except (TypeError, ValueError, OverflowError):
        return None
