"""``baizebook ledger``: verify the books."""

from ...jobs import rows as _jobs  # noqa: F401 (its tables hold records that are verified)
from ...lifecycle import rows as _lifecycle  # noqa: F401 (so do its)
from ...reports.queries import verify_books
from ...store.db import reading
from ..command_database import existing_database
from ..terminal import complain, say


def verify() -> int:
    """Follow the chain of entries; the status is 1 where one does not fit."""
    with reading(existing_database()) as session:
        found = verify_books(session)
    if found.ok:
        last = f" The last hash is {found.last_hash}." if found.last_hash else ""
        digest = found.last_record_digest
        records = f" The digest of record {found.records}, the last, is {digest}." if digest else ""
        say(f"{found.entries} entries, and every one fits.{last}{records}")
        return 0
    if found.altered_entries:
        complain(f"Entry {found.altered_entries[0]} books facts that were changed since. Restore a backup.")
    if found.altered_collections:
        complain(
            f"Collection {found.altered_collections[0]} was changed since it was recorded, or follows one that is gone."
        )
    if found.altered_records:
        complain(
            f"Agreement, closed job, retirement or reversal {found.altered_records[0]} was changed since it was recorded, "
            "or follows one that is gone. Restore a backup."
        )
    bad = found.first_bad
    if bad is not None:
        complain(f"Entry {bad.place} does not fit (number {bad.number}, id {bad.id}): {bad.why}.")
    return 1
