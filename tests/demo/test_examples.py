"""Every example of the contract succeeds on the demo, whenever the demo was loaded."""

from datetime import UTC, datetime

import pytest

from tests.conftest import NOON
from tests.demo.examples_on_the_demo import answers_to_examples


@pytest.mark.parametrize("now", [NOON, datetime(2028, 6, 15, 9, tzinfo=UTC)], ids=["today", "later"])
def test_every_example_succeeds_on_the_demo(now: datetime) -> None:
    answers = [(id, answer.status_code, answer.text[:300]) for id, _, answer in answers_to_examples(now)]
    assert len(answers) > 60
    assert [answer for answer in answers if not 200 <= answer[1] < 300] == []
