"""Tables of which nothing was heard for long: first the venue is asked, then somebody goes there (V1).

- A reading or a collection is news of a table; without any, its silence began when it came to stand where it stands.
- Two weeks after the last news the venue is asked by phone, which is the cheapest visit; four weeks after it somebody
  goes, and the phone call is over.
- Both are stored with their dates while the table still speaks: time alone brings them up.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from .work import Work, day_at

ASK_AFTER = timedelta(days=14)

VISIT_AFTER = timedelta(days=28)


@dataclass(frozen=True, slots=True, kw_only=True)
class News:
    """When a table was last heard of (``ever`` False: when it came to stand there), and what it can be asked."""

    last_at: datetime
    ever: bool
    zone: tzinfo
    label: str
    has_battery: bool
    meters: tuple[str, ...]


def silence_work(news: News) -> tuple[Work, ...]:
    """Return the call and the visit that a table's silence will bring."""
    last_on = day_at(news.last_at, news.zone)
    since = f"It was last heard of on {last_on}" if news.ever else f"Nothing was read since it came on {last_on}"
    visit_at = news.last_at + VISIT_AFTER
    return (
        Work(
            kind="ask_venue",
            code="no_reading",
            due_at=news.last_at + ASK_AFTER,
            lead_days=0,
            ends_at=visit_at,
            reason=f"{since}: {ASK_AFTER.days} days or more without a reading.",
            words=_words(news),
        ),
        Work(
            kind="visit",
            code="no_reading",
            due_at=visit_at,
            lead_days=0,
            reason=f"{since}: {VISIT_AFTER.days} days or more without a reading.",
            bring=("the key", *(("a voltmeter",) if news.has_battery else ())),
            needs_key=True,
            dangers=("battery",) if news.has_battery else ("mains",),
        ),
    )


def _words(news: News) -> str:
    wanted = (
        *(("the battery voltage",) if news.has_battery else ()),
        "the day and time that its clock shows",
        *((f"its meters ({', '.join(news.meters)})",) if news.meters else ()),
    )
    listed = f"{', '.join(wanted[:-1])} and {wanted[-1]}" if len(wanted) > 1 else wanted[0]
    return f"Please read to me from the table “{news.label}”: {listed}."
