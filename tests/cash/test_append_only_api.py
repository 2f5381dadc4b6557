"""Nothing of what was collected, divided, taken back or disputed is changed, also not past the code."""

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import IntegrityError

from tests.cash.conftest import Till

TABLES = {
    "agreement": "version",
    "collection": "counted_minor",
    "collected_table": "counted_minor",
    "settlement": "agreement_version",
    "reversal": "reason",
    "dispute": "claims",
    "dispute_answer": "answer",
}


def test_the_database_refuses_every_change(till: Till, engine: Engine) -> None:
    till.agree()
    told = till.collect("2026-10-10", 100)
    dispute = till.route.post(f"/collections/{told['id']}/disputes", {"by": "a", "claims": "b", "reason": "c"})
    answer = {"by": "a", "answer": "b"}
    till.route.post(f"/collections/{told['id']}/disputes/{dispute['id']}/answer", answer)
    till.reverse(told)
    for table, column in TABLES.items():
        statements = [f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"]
        if engine.dialect.name == "sqlite":
            statements.append(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")
        else:
            statements.append(f"TRUNCATE {table} CASCADE")
        for statement in statements:
            with pytest.raises(IntegrityError, match="append-only"), engine.begin() as connection:
                connection.execute(text(statement))
