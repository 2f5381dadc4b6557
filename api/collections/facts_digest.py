"""The digest of a collection as it was recorded, which also covers the digest of the one recorded before it.

- So a change of a collection shows before it is settled, and a collection that is gone shows at the next one.
- Once it is settled, the journal's entry covers the digest too (``baizebook.ledger.source_digest``).
- Collections of earlier releases have no digest.
"""

from collections.abc import Mapping, Sequence

from ..ledger.source_digest import source_digest

RecordedFacts = Mapping[str, object]


def facts_digest(collection: RecordedFacts, tables: Sequence[RecordedFacts], *, before: str) -> str:
    """Return the digest of a collection's columns, its tables in their order, and the digest of the one before."""
    facts = {name: value for name, value in collection.items() if name != "facts_digest"}
    return source_digest({"before": [{"digest": before}], "collection": [facts], "collected_table": tables})
