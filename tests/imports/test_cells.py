"""Cells are read in one way or refused with both: dates, numbers, signs, times, days (I3)."""

from datetime import date, datetime, time
from typing import Any

import pytest
from baizebook.imports.cells import Cell, CellRules, CellTime, Formula, read_cell
from baizebook.imports.columns import Reads
from baizebook.pricing import DomainError
from hypothesis import given
from hypothesis import strategies as some


def wall(*parts: int) -> datetime:
    """Return a date and time as a workbook holds it: it knows no zones."""
    return datetime(*parts)  # type: ignore[arg-type]  # noqa: DTZ001


def read(cell: Cell, reads: Reads, **stated: Any) -> Any:
    return read_cell(cell, reads, CellRules(**stated), where="cell")


def refusal(cell: Cell, reads: Reads, **stated: Any) -> tuple[str, str]:
    with pytest.raises(DomainError) as error:
        read(cell, reads, **stated)
    (fault,) = error.value.faults
    return fault.code, fault.expected


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2026-04-03", "2026-04-03"),
        ("2026/4/3", "2026-04-03"),
        ("13/04/2026", "2026-04-13"),
        ("04/13/2026", "2026-04-13"),
        ("13.4.2026", "2026-04-13"),
        ("04.04.2026", "2026-04-04"),
        ("3 April 2026", "2026-04-03"),
        ("3. Apr 2026", "2026-04-03"),
        ("Apr 3, 2026", "2026-04-03"),
        ("3-Sept-2026", "2026-09-03"),
        (wall(2026, 4, 3), "2026-04-03"),
        (date(2026, 4, 3), "2026-04-03"),
    ],
)
def test_a_date_that_can_only_be_one(text: Cell, value: str) -> None:
    assert read(text, "date") == value


@pytest.mark.parametrize("text", ["03/04/2026", "3.4.2026", "03-04-2026"])
def test_a_date_that_can_be_two_is_asked_about_and_settled(text: str) -> None:
    assert refusal(text, "date") == ("ambiguous_date", "one date: 3 April 2026 (dates=dmy) or 4 March 2026 (dates=mdy)")
    assert read(text, "date", dates="dmy") == "2026-04-03"
    assert read(text, "date", dates="mdy") == "2026-03-04"


def test_a_date_without_its_year_or_with_half_of_it() -> None:
    code, expected = refusal("03/04", "date")
    assert code == "ambiguous_date"
    assert "3 April (dates=dmy) or 4 March (dates=mdy)" in expected
    assert refusal("03/04", "date", dates="dmy")[0] == "ambiguous_date"
    assert refusal("13/04/26", "date")[0] == "ambiguous_date"
    assert read("13/04/26", "date", dates="dmy") == "2026-04-13"
    assert read("26/04/03", "date", dates="ymd") == "2026-04-03"


@pytest.mark.parametrize(
    ("text", "stated"),
    [
        ("30.02.2026", {}),
        ("2026-13-01", {}),
        ("04/13/2026", {"dates": "dmy"}),
        ("45000", {}),
        ("yesterday", {}),
        ("3 Avril 2026", {}),
        (46000, {}),
        (wall(2026, 4, 3, 12), {}),
    ],
)
def test_what_is_no_date(text: Cell, stated: dict[str, Any]) -> None:
    assert refusal(text, "date", **stated)[0] == "unreadable_cell"


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1.234,50", "1234.50"),
        ("$1,234.50", "1234.50"),
        ("1,234,567", "1234567"),
        ("1.234.567", "1234567"),
        ("1 234,50 €", "1234.50"),
        ("1'234.50", "1234.50"),
        ("USD 4", "4"),
        ("4.00 usd", "4.00"),
        ("0,125", "0.125"),
        ("0.125", "0.125"),
        ("1,2345", "1.2345"),
        ("12,5", "12.5"),
        ("007", "7"),
        (4, "4"),
        (4.1, "4.1"),
        (0.1 + 0.2, "0.3"),
        (1e15, "1000000000000000"),
    ],
)
def test_an_amount_that_can_only_be_one(text: Cell, value: str) -> None:
    assert read(text, "amount")[0] == value


def test_a_number_that_can_be_two_is_asked_about_and_settled() -> None:
    assert refusal("1,234", "amount")[0] == "ambiguous_number"
    assert refusal("$1.234", "amount") == (
        "ambiguous_number",
        "1.234 (decimals=point) or 1234 (decimals=comma): state decimals",
    )
    assert read("1,234", "decimal", decimals="comma") == "1.234"
    assert read("1,234", "decimal", decimals="point") == "1234"
    assert read("1.234,5", "decimal", decimals="comma") == "1234.5"


@pytest.mark.parametrize("text", ["1.50", "1,23,456.00"])
def test_a_number_against_what_was_stated_is_refused(text: str) -> None:
    assert refusal(text, "decimal", decimals="comma")[0] == "unreadable_cell"


@pytest.mark.parametrize("text", ["1,23,456.7", "4.", "abc", "--4", "4 €$", "$4 USD", "1.2.3", "12 34", "", " "])
def test_what_is_no_amount(text: str) -> None:
    if text.strip():
        assert refusal(text, "amount")[0] == "unreadable_cell"
    else:
        assert read(text, "amount") is None


def test_a_sign_says_which_currencies_it_can_be() -> None:
    assert read("€4", "amount")[1] == frozenset({"EUR"})
    assert {"USD", "CAD"} <= read("$4", "amount")[1]
    assert read("4", "amount")[1] is None


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("21:00", "21:00"),
        ("9 pm", "21:00"),
        ("9:05 a.m.", "09:05"),
        ("12:30am", "00:30"),
        (time(21, 0, 59, 999_999), "21:01"),
    ],
)
def test_times(cell: Cell, value: str) -> None:
    assert read(cell, "time") == value


@pytest.mark.parametrize("cell", ["9", "25:00", "13 pm", "noon", 0.5])
def test_what_is_no_time(cell: Cell) -> None:
    assert refusal(cell, "time")[0] == "unreadable_cell"


def test_instants_with_a_time_and_without() -> None:
    assert read("2026-11-20T18:00:00-05:00", "instant") == CellTime(text="2026-11-20T18:00:00-05:00")
    assert read("2026-11-20 18:00", "instant") == CellTime(local=wall(2026, 11, 20, 18))
    assert read("20.11.2026, 6:15 pm", "instant") == CellTime(local=wall(2026, 11, 20, 18, 15))
    assert read(wall(2026, 11, 20, 17, 59, 59, 999_600), "instant") == CellTime(local=wall(2026, 11, 20, 18))
    assert refusal("2026-11-20", "instant")[0] == "time_needed"
    assert read("2026-11-20", "instant", time_of_day=time(12)) == CellTime(local=wall(2026, 11, 20, 12))
    assert refusal("03/04/2026 18:00", "instant")[0] == "ambiguous_date"


def test_days_words_and_text() -> None:
    assert [read(day, "day") for day in ("Mon", "tuesday", "Weds", "FRI.")] == ["mon", "tue", "wed", "fri"]
    assert refusal("Dienstag", "day")[0] == "unreadable_cell"
    assert read(" 0.25  1.00;5 ", "list") == ["0.25", "1.00", "5"]
    assert read("$0.25, $1.00, 5", "list") == ["$0.25", "$1.00", "5"]
    assert read("0,25, 1,00,", "list") == ["0,25", "1,00"]
    assert read("0.25,1.00", "list") == ["0.25", "1.00"]
    assert read("clock_set,battery_charged", "list") == ["clock_set", "battery_charged"]
    assert read("1,00 1.000,50", "list") == ["1,00", "1.000,50"]
    assert read(12.0, "text") == "12"
    assert read("  Window side ", "text") == "Window side"
    assert read("'+1 555-0142", "text") == "+1 555-0142"
    assert refusal(date(2026, 1, 1), "text")[0] == "unreadable_cell"


def test_formulas_are_refused_wherever_they_are() -> None:
    assert refusal(Formula("=A1+1"), "count")[0] == "cell_is_formula"
    assert refusal("=A1+1", "text")[0] == "cell_is_formula"


def test_a_whole_number_has_no_part() -> None:
    assert read("3,000", "count", decimals="point") == 3000
    assert read(3000.0, "count") == 3000
    assert refusal("2.5", "count")[0] == "unreadable_cell"


def test_meters_in_words() -> None:
    assert read("cash money 0,25 7; plays games 6 at_collection", "meters") == [
        {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
        {"name": "plays", "counts": "games", "digits": 6, "resets": "at_collection"},
    ]
    assert refusal("cash", "meters")[0] == "unreadable_cell"


@pytest.mark.parametrize("reads", ["count", "decimal", "amount", "text"])
@pytest.mark.parametrize("number", [10**400, -(10**400), float("inf"), 1e300])
def test_a_number_beyond_all_numbers_is_refused(number: Cell, reads: Reads) -> None:
    assert refusal(number, reads)[0] == "unreadable_cell"


def test_a_date_at_the_end_of_time_and_a_cell_without_end_are_refused() -> None:
    assert refusal(wall(9999, 12, 31, 23, 59, 59, 999_999), "instant")[0] == "unreadable_cell"
    for reads in ("date", "instant", "amount", "count", "time", "day"):
        assert refusal(", " * 1900 + "x", reads)[0] == "unreadable_cell"  # type: ignore[arg-type]


CELLS = some.one_of(
    some.text(max_size=150),
    some.text(alphabet="0123456789.,/-: $€apmAPMT'", max_size=24),
    some.integers(),
    some.floats(),
    some.booleans(),
    some.datetimes(),
    some.dates(),
    some.times(),
    some.timedeltas(),
)
ALL_READS = ("text", "count", "decimal", "amount", "date", "time", "instant", "day", "yes", "list", "meters")
RULES = some.builds(
    CellRules,
    some.sampled_from([None, "dmy", "mdy", "ymd"]),
    some.sampled_from([None, "comma", "point"]),
    some.sampled_from([None, time(12)]),
)


@given(CELLS, some.sampled_from(ALL_READS), RULES)
def test_whatever_is_in_a_cell_is_read_or_refused(cell: Cell, reads: Reads, rules: CellRules) -> None:
    faults, value = (), None
    try:
        value = read_cell(cell, reads, rules, where="cell")
    except DomainError as error:
        faults = error.faults
    assert all(fault.where == "cell" and fault.found and fault.expected for fault in faults)
    assert faults or value is not None or cell is None or not str(cell).replace("\u00a0", " ").strip()
