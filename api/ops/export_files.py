"""The books and the reports of a period as files, each the same as the service's own answer.

- ``journal.csv``, ``journal.beancount``, ``journal.ledger``: the entries of the period; loaded one after the other,
  periods count each amount once.
- ``statement-VENUE.csv`` of each venue that the books name, ``earnings.csv`` by table and venue, ``cash-in-hand.csv`` as
  it is now, ``tax.json``, and of a year ``year.csv``.
- A folder is written whole or not at all, and never over another file.
"""

import re
import shutil
import tempfile
import unicodedata
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from uuid import UUID

from sqlmodel import Session

from ..earnings.convert import earnings_csv
from ..earnings.service import EarningsQuestion, groupings, read_earnings
from ..health.queries import levels_in_force
from ..ledger import queries as ledger_queries
from ..ledger.export.beancount import journal_beancount
from ..ledger.export.csv_journal import journal_csv
from ..ledger.export.period import ExportPeriod
from ..ledger.export.plain_text_ledger import journal_ledger
from ..ledger.service import own_chart
from ..reports import queries
from ..reports.cash_csv import cash_csv
from ..reports.convert import cash_in_hand_out
from ..reports.statement_csv import statement_csv, year_csv
from ..venues import service as venues
from ..web.errors import http_problem

_MONTH = re.compile(r"20[0-9]{2}-(0[1-9]|1[0-2])")
_NO_NAME = re.compile(r"[^a-z0-9]+")


def period_of(*, month: str | None, year: int | None) -> ExportPeriod:
    """Return the month or the year that was typed; refuse what is none."""
    if year is not None:
        return ExportPeriod.of_year(year)
    if month is None or not _MONTH.fullmatch(month):
        raise http_problem("invalid", where="--month", found=repr(month), expected="a month such as 2026-11")
    return ExportPeriod.of_month(*map(int, month.split("-")))


def export_files(
    session: Session, period: ExportPeriod, *, year: int | None, now: datetime
) -> dict[str, Iterable[str]]:
    """Return the text of each file by its name, in parts; ``year`` is given where the period is one.

    The journals are read from the database as they are written.
    """
    part = ledger_queries.read_extract(
        session, from_on=period.from_on, to_on=period.to_on, opening="none", close=None, currency=None, now=now
    )
    chart, in_books, names = own_chart(session, None), ledger_queries.venues_in_books(session), venues.names(session)
    texts: dict[str, Iterable[str]] = {
        "journal.csv": journal_csv(part, profile="two_column", venues=in_books, own_chart=chart),
        "journal.beancount": journal_beancount(part, venues=in_books, own_chart=chart),
        "journal.ledger": journal_ledger(part, venues=in_books, own_chart=chart),
    }
    for venue_id, name in _file_names({id: names[id] for id in in_books}).items():
        venue = venues.get_venue(session, UUID(venue_id))
        texts[f"statement-{name}.csv"] = [statement_csv(queries.read_statement(session, venue=venue, period=period))]
    by = groupings("table,venue", where="by")
    after = period.to_on + timedelta(days=1)
    earned = read_earnings(session, EarningsQuestion(from_on=period.from_on, until_on=after, by=by), now=now)
    texts["earnings.csv"] = [earnings_csv(earned.rows, by)]
    cash = cash_in_hand_out(
        queries.read_cash_in_hand(session),
        queries.not_in_the_books(session, person=None),
        person=None,
        bank_within_days=levels_in_force(session).bank_within_days,
        today=now.date(),
    )
    texts["cash-in-hand.csv"] = [cash_csv(cash.model_dump())]
    tax = queries.tax_report(session, from_on=period.from_on, to_on=period.to_on)
    texts["tax.json"] = [tax.model_dump_json(indent=2, by_alias=True), "\n"]
    if year is not None:
        texts["year.csv"] = [year_csv(queries.read_year(session, year), names)]
    return texts


def _file_names(names: Mapping[str, str]) -> dict[str, str]:
    """Return a file name for each venue: plain letters, with the start of the id where two would be alike."""
    plain = {
        id: _NO_NAME.sub("-", unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()).strip("-")
        for id, name in names.items()
    }
    alike = list(plain.values())
    return {id: name if name and alike.count(name) == 1 else f"{name or 'venue'}-{id}" for id, name in plain.items()}


def write_folder(folder: Path, files: Mapping[str, Iterable[str]]) -> dict[str, int]:
    """Write files into a folder that is new or empty, all of them or none, and return the size of each in bytes.

    Raises ValueError where something is in the folder.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ValueError(f"{folder} exists and is not an empty folder: an export never replaces a file. Name another.")
    if not folder.absolute().parent.is_dir():
        raise ValueError(f"There is no folder {folder.absolute().parent}: make it, or name another.")
    made = Path(tempfile.mkdtemp(prefix=f"{folder.name}.", suffix=".unfinished", dir=folder.absolute().parent))
    try:
        sizes = {name: _written(made / name, parts) for name, parts in files.items()}
        if folder.exists():
            folder.rmdir()
        made.rename(folder)
    except BaseException:
        shutil.rmtree(made, ignore_errors=True)
        raise
    return sizes


def _written(file: Path, parts: Iterable[str]) -> int:
    with file.open("w", encoding="utf-8", newline="") as opened:
        opened.writelines(parts)
    return file.stat().st_size
