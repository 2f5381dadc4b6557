"""Every example of the contract succeeds on the demo, on each kind of database, whenever the demo was loaded.

The examples ask for periods that end in July 2028: a demo that is loaded much later has no box in them.
"""

from datetime import UTC, datetime
from typing import Any

import pytest

from tests.conftest import NOON
from tests.demo.examples_on_the_demo import answers_to_examples

LATER = datetime(2028, 6, 15, 9, tzinfo=UTC)


@pytest.mark.parametrize(("now", "kind"), [(NOON, "sqlite"), (LATER, "postgresql")])
def test_every_example_succeeds_on_the_demo(now: datetime, kind: str, contract: dict[str, Any]) -> None:
    answers = [
        (id, answer.status_code, answer.text[:300]) for id, _, answer in answers_to_examples(now, kind, contract)
    ]
    assert len(answers) > 60
    assert [answer for answer in answers if not 200 <= answer[1] < 300] == []
