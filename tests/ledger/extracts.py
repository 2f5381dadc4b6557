"""Extracts and exports of entries that are all at hand: the sums by year added up one by one, the lines joined."""

from collections import Counter
from collections.abc import Iterable

from baizebook.ledger.entry import Entry
from baizebook.ledger.export.beancount import journal_beancount
from baizebook.ledger.export.csv_journal import journal_csv
from baizebook.ledger.export.period import Close, ExportPeriod, Extract, Opening, YearSum
from baizebook.ledger.export.period import extract as extract_of
from baizebook.ledger.export.plain_text_ledger import journal_ledger
from baizebook.ledger.posting import Leaf


def extract(
    entries: Iterable[Entry],
    period: ExportPeriod,
    *,
    opening: Opening,
    close: Close | None = None,
    currency: str | None = None,
) -> Extract:
    """Return the part of a whole journal, in any order, that falls into a period."""
    known = sorted(
        (entry for entry in entries if entry.on <= period.to_on and currency in (None, entry.currency)),
        key=lambda entry: (entry.on, entry.number),
    )
    sums: Counter[tuple[int, bool, Leaf, str]] = Counter()
    for entry in known:
        for posting in entry.postings:
            sums[entry.on.year, entry.on < period.from_on, posting.leaf, entry.currency] += posting.amount_minor
    return extract_of(
        [entry for entry in known if entry.on >= period.from_on],
        period,
        sums=[
            YearSum(year=year, before=before, leaf=leaf, currency=code, amount=amount)
            for (year, before, leaf, code), amount in sums.items()
        ],
        opening=opening,
        close=close,
    )


def csv_of(*args, **values) -> str:
    """Return an extract as CSV."""
    return "".join(journal_csv(*args, **values))


def beancount_of(*args, **values) -> str:
    """Return an extract in beancount's language."""
    return "".join(journal_beancount(*args, **values))


def ledger_of(*args, **values) -> str:
    """Return an extract in ledger's language."""
    return "".join(journal_ledger(*args, **values))
