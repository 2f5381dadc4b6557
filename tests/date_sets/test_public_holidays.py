"""Public holidays against laws and published calendars of three countries (A6)."""

from datetime import date
from typing import Any

import pytest
from baizebook.date_sets.public_holidays import Days, public_holidays
from baizebook.pricing import DomainError

DERIVED, PUBLISHED, SECOND_HAND = "derived", "published", "seen second-hand"
ROWS: list[tuple[str, str, str, str | None, int, Days, str]] = [
    (
        "5 U.S.C. 6103(a), (b), executive order 11582: off the Friday before a Saturday, the Monday after a Sunday",
        DERIVED, "US", None, 2027, "observed",
        "01-01 01-18 02-15 05-31 06-18 07-05 09-06 10-11 11-11 11-25 12-24 12-31",
    ),
    (
        "5 U.S.C. 6103(a): the days themselves",
        DERIVED, "US", None, 2027, "actual",
        "01-01 01-18 02-15 05-31 06-19 07-04 09-06 10-11 11-11 11-25 12-25",
    ),
    (
        "German law: Good Friday, Easter Monday, Ascension, Whit Monday by Easter on 28 March 2027, and the fixed days",
        DERIVED, "DE", None, 2027, "actual",
        "01-01 03-26 03-29 05-01 05-06 05-17 10-03 12-25 12-26",
    ),
    (
        "Bavaria: Feiertagsgesetz, article 1: Epiphany, Corpus Christi (Easter + 60), All Saints, and where Catholics "
        "prevail the Assumption, which is not public in all of the state",
        DERIVED, "DE", "BY", 2027, "actual",
        "01-01 01-06 03-26 03-29 05-01 05-06 05-17 05-27 10-03 11-01 12-25 12-26",
    ),
    (
        "Banking and Financial Dealings Act 1971, schedule 1; GOV.UK, UK bank holidays, England and Wales: Christmas and "
        "Boxing Day of 2027 on Monday 27 and Tuesday 28 December",
        SECOND_HAND, "GB", "ENG", 2027, "observed",
        "01-01 03-26 03-29 05-03 05-31 08-30 12-27 12-28",
    ),
    (
        "the same: Boxing Day of 2026 on Monday 28 December",
        SECOND_HAND, "GB", "ENG", 2026, "observed",
        "01-01 04-03 04-06 05-04 05-25 08-31 12-25 12-28",
    ),
    (
        "the same: New Year's Day of 2028 on Monday 3 January",
        SECOND_HAND, "GB", "ENG", 2028, "observed",
        "01-03 04-14 04-17 05-01 05-29 08-28 12-25 12-26",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("source", "mark", "country", "region", "year", "days", "expected"), ROWS)
def test_a_year_of_holidays(
    source: str, mark: str, country: str, region: str | None, year: int, days: Days, expected: str
) -> None:
    assert source
    assert mark in (DERIVED, PUBLISHED, SECOND_HAND)
    found = public_holidays(country, region, from_on=date(year, 1, 1), to_on=date(year, 12, 31), days=days)
    assert " ".join(f"{one.on:%m-%d}" for one in found) == expected


@pytest.mark.parametrize(
    ("year", "easter_monday"), [(2026, "04-06"), (2027, "03-29"), (2028, "04-17")]
)  # the day after Easter Sunday: 5 April, 28 March, 16 April (tables of observatories, published)
def test_easter(year: int, easter_monday: str) -> None:
    found = public_holidays("DE", None, from_on=date(year, 1, 1), to_on=date(year, 12, 31), days="actual")
    assert easter_monday in [f"{one.on:%m-%d}" for one in found if one.name == "Easter Monday"]


def test_names_are_in_english_or_in_the_language_that_is_asked_for_whatever_the_machine_speaks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("LANGUAGE", "th")
    monkeypatch.setenv("LANG", "th_TH.UTF-8")
    year: dict[str, Any] = {"from_on": date(2027, 1, 1), "to_on": date(2027, 1, 2), "days": "actual"}
    assert [one.name for one in public_holidays("DE", None, **year)] == ["New Year's Day"]
    assert [one.name for one in public_holidays("DE", None, language="de", **year)] == ["Neujahr"]


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"country": "XX"}, "country"),
        ({"region": "ZZ"}, "region"),
        ({"language": "tlh"}, "language"),
        ({"to_on": date(2026, 12, 31)}, "to_on"),
        ({"to_on": date(2040, 1, 1)}, "to_on"),
    ],
)
def test_what_is_not_on_record_is_refused(change: dict[str, Any], where: str) -> None:
    asked = {
        "country": "US",
        "region": None,
        "from_on": date(2027, 1, 1),
        "to_on": date(2027, 12, 31),
        "days": "actual",
    }
    with pytest.raises(DomainError) as error:
        public_holidays(**{**asked, **change})
    assert [(fault.code, fault.where) for fault in error.value.faults] == [("invalid", where)]
