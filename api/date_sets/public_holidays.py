"""Public holidays of a country and region, as the ``holidays`` library has them (A6). Values in, values out.

- ``actual``: the feasts on their own dates. ``observed``: where the law gives another day off for one that falls on a
  weekend, that day in its place.
- Names are in English where the library has them, else in the country's language, unless a language is asked for;
  never in that of the machine.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import holidays

from ..pricing.errors import domain_error

Days = Literal["actual", "observed"]
YEARS_MAX = 5
_ENGLISH = ("en_US", "en_GB", "en")
_SUBSTITUTE_WITHIN = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class NamedDate:
    """A date and what people call it."""

    on: date
    name: str


def public_holidays(
    country: str, region: str | None, *, from_on: date, to_on: date, days: Days, language: str | None = None
) -> tuple[NamedDate, ...]:
    """Return the public holidays from one date to another, both included, in their order.

    ``country`` is an ISO 3166-1 code, ``region`` the part after the hyphen of an ISO 3166-2 code. Refuses
    (``invalid``) a country, region or language that the library does not have, and a period of more than five years.
    """
    if not from_on <= to_on or to_on.year - from_on.year >= YEARS_MAX:
        expected = f"a date from {from_on} on, less than {YEARS_MAX} years later"
        raise domain_error("invalid", where="to_on", found=to_on, expected=expected)
    regions = holidays.list_supported_countries().get(country)
    if regions is None:
        expected = "a country that has public holidays on record, by its ISO 3166-1 code, such as US or DE"
        raise domain_error("invalid", where="country", found=repr(country[:20]), expected=expected)
    if region is not None and region not in regions:
        expected = f"one of {', '.join(regions)}" if regions else "no region: this country has none on record"
        raise domain_error("invalid", where="region", found=repr(region[:20]), expected=expected)
    spoken = _language(country, language)
    years = range(from_on.year, to_on.year + 2)  # the next New Year's Day may be observed in December

    def found(*, observed: bool) -> dict[date, str]:
        return dict(holidays.country_holidays(country, region, years=years, observed=observed, language=spoken))

    actual = found(observed=False)
    chosen = actual if days == "actual" else _observed(actual, found(observed=True))
    return tuple(NamedDate(on, name) for on, name in sorted(chosen.items()) if from_on <= on <= to_on)


def _language(country: str, asked: str | None) -> str | None:
    of_country = holidays.country_holidays(country)
    known = tuple(of_country.supported_languages)
    if asked is not None and asked not in known:
        expected = f"one of {', '.join(known)}" if known else "no language: names come in one only"
        raise domain_error("invalid", where="language", found=repr(asked[:20]), expected=expected)
    return asked or next((name for name in _ENGLISH if name in known), of_country.default_language)


def _observed(actual: dict[date, str], both: dict[date, str]) -> dict[date, str]:
    """Return the days off: each day that is only observed takes the place of the feast that it is for."""
    chosen = dict(both)
    for on in sorted(both.keys() - actual.keys()):
        near = [feast for feast in actual if abs(feast - on) <= _SUBSTITUTE_WITHIN and feast in chosen]
        named = [feast for feast in near if actual[feast] in both[on]]
        weekend = [feast for feast in near if feast.weekday() >= 5]
        if replaced := min(named or weekend, key=lambda feast: (abs(feast - on), feast), default=None):
            chosen.pop(replaced)
    return chosen
