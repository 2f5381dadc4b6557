"""What was earned, on the terminal: a table, or lines of tab-separated values where the output is piped."""

import re
from collections.abc import Iterator, Sequence
from datetime import date, datetime

from rich.table import Table
from sqlmodel import Session

from ..earnings.earned_totals import Grouping
from ..earnings.schemas import EarningsAmountsOut, EarningsOut, EarningsRowOut
from ..earnings.service import EarningsQuestion, groupings, read_earnings
from ..web.errors import http_problem

FIGURES = ("gross", "refunds", "tax", "venue_share", "operator_share", "expenses", "profit", "games", "table_weeks")
_MONTH = re.compile(r"20[0-9]{2}-(0[1-9]|1[0-2])")


def earned_in(session: Session, *, by: str, month: str, now: datetime) -> EarningsOut:
    """Return what was earned in a month; refuse a month and groupings that are none, as the API does."""
    if not _MONTH.fullmatch(month):
        raise http_problem("invalid", where="--month", found=repr(month), expected="a month such as 2026-11")
    first = date.fromisoformat(f"{month}-01")
    after = date(first.year + first.month // 12, first.month % 12 + 1, 1)
    asked = EarningsQuestion(from_on=first, until_on=after, by=groupings(by, where="--by"))
    return read_earnings(session, asked, now=now)


def earned_lines(found: EarningsOut) -> Iterator[tuple[str, ...]]:
    """Return the head, a line for each row, and a line for the total of each currency."""
    yield (*found.by, "currency", *FIGURES)
    for row in found.rows:
        yield (*(_named(row, grouping) for grouping in found.by), row.currency, *_figures(row))
    for total in found.totals:
        names = ["total", *("" for _ in found.by[1:])] if found.by else []
        yield (*names, total.currency, *_figures(total))


def _named(row: EarningsRowOut, grouping: Grouping) -> str:
    if grouping == "agreement":
        return str(row.agreement_id or "")
    value = getattr(row, grouping)
    return "" if value is None else str(value)


def _figures(row: EarningsAmountsOut) -> list[str]:
    return [str(getattr(row, name)) for name in FIGURES]


def as_table(lines: Sequence[Sequence[str]], *, names: int, title: str) -> Table:
    """Return lines as a table: names at the left, figures at the right, totals below a rule."""
    head, *rows = lines
    table = Table(title=title, title_justify="left")
    for place, column in enumerate(head):
        table.add_column(column.replace("_", " "), justify="left" if place <= names else "right")
    for place, row in enumerate(rows):
        table.add_row(*row, end_section=place + 1 < len(rows) and row[0] != "total" and rows[place + 1][0] == "total")
    return table


def waiting_in_words(found: EarningsOut) -> str | None:
    """Say how many tables have money of that time in their boxes still; None where there are none."""
    if not found.not_yet_collected:
        return None
    tables = len({one.table_id for one in found.not_yet_collected})
    noun = "table has" if tables == 1 else "tables have"
    return f"{tables} {noun} money of this time in the box still: not counted here, not 0."
