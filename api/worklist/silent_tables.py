"""Tables without a reading for long: first a call to the venue, then a visit (V1).

- A reading or a collection is news of a table; without any, the silence began when the table came to its venue.
- Two weeks after the last news the work is a phone call to the venue, which is the cheapest visit; four weeks after,
  a visit takes the place of the call.
- A table that is out of order is not silent: its job is known. Silence begins again when it is in order (J2).
- Of a table that is entered with an older history the weeks begin when it is entered.
- Both are stored with their dates beforehand: time alone brings them up.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from ..venues.dates_in_words import day_at
from .work import Work

ASK_AFTER = timedelta(days=14)

VISIT_AFTER = timedelta(days=28)


@dataclass(frozen=True, slots=True, kw_only=True)
class News:
    """When a table was last heard of (``ever`` False: when it came to stand there), and what it can be asked.

    ``silent_since`` is the same, or when the table was in order again, if that was later. ``entered_at`` is when the
    table was entered: nobody is late with what came before.
    """

    last_at: datetime
    silent_since: datetime
    entered_at: datetime
    ever: bool
    zone: tzinfo
    label: str
    has_battery: bool
    meters: tuple[str, ...]


def silence_work(news: News) -> tuple[Work, ...]:
    """Return the call and the visit that a table's silence will bring."""
    last_on = day_at(news.last_at, news.zone)
    since = f"No reading since {last_on}" if news.ever else f"No reading since the table came here on {last_on}"
    if news.silent_since > news.last_at:
        since += f", in order again since {day_at(news.silent_since, news.zone)}"
    begins_at = max(news.silent_since, news.entered_at)
    visit_at = begins_at + VISIT_AFTER
    subject = f"since:{news.silent_since.isoformat()}"
    return (
        Work(
            kind="ask_venue",
            code="no_reading",
            subject=subject,
            due_at=begins_at + ASK_AFTER,
            lead_days=0,
            ends_at=visit_at,
            reason=f"{since}: call the venue.",
            words=_words(news),
        ),
        Work(
            kind="visit",
            code="no_reading",
            subject=subject,
            due_at=visit_at,
            lead_days=0,
            reason=f"{since}: go and read the table.",
            bring=("the key", *(("a voltmeter",) if news.has_battery else ())),
            needs_key=True,
            dangers=("battery",) if news.has_battery else ("mains",),
        ),
    )


def _words(news: News) -> str:
    wanted = (
        *(("the battery voltage",) if news.has_battery else ()),
        "the day and time on its clock",
        *((f"its meters ({', '.join(news.meters)})",) if news.meters else ()),
    )
    listed = f"{', '.join(wanted[:-1])} and {wanted[-1]}" if len(wanted) > 1 else wanted[0]
    return f"Please read me from the table “{news.label}”: {listed}."
