"""Words on printed pages: each sentence has one stop at its end, whoever wrote it."""

from datetime import time

import pytest
from baizebook.paper.words import hours_words, sentences


@pytest.mark.parametrize(
    ("texts", "said"),
    [
        (("12 Quarry Street", "Odile, after 16:00", ""), "12 Quarry Street. Odile, after 16:00."),
        (("Fault: cloth damaged", "A tear."), "Fault: cloth damaged. A tear."),
        (("Fault: lamp out", " "), "Fault: lamp out."),
        (("Ring twice!", "Dog?"), "Ring twice! Dog?"),
        ((), ""),
    ],
)
def test_texts_follow_one_another_as_sentences(texts: tuple[str, ...], said: str) -> None:
    assert sentences(*texts) == said


@pytest.mark.parametrize(("ends", "said"), [((6, 6), "all day"), ((15, 1), "15:00 to 01:00")])
def test_hours_that_end_as_they_begin_are_a_whole_day(ends: tuple[int, int], said: str) -> None:
    assert hours_words(*map(time, ends)) == said
