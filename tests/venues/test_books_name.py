"""A venue's name in the books: readable in every accounting program, never shared, never changed."""

import re

import pytest
from baizebook.venues.books_name import books_name


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("The Copper Lantern", "The-Copper-Lantern"),
        ("Zum blauen Keiler", "Zum-Blauen-Keiler"),
        ("Größe & Co., Müller's Eck", "Grosse-Co-Mullers-Eck"),
        ("8 Ball", "8-Ball"),
        ("たぬき", "Venue"),
        ('=SUM("Corner")', "SUM-Corner"),
    ],
)
def test_a_name_becomes_a_part_of_account_names(name: str, found: str) -> None:
    assert books_name(name, taken=()) == found


def test_venues_of_one_name_are_numbered() -> None:
    taken: set[str] = set()
    for expected in ("Corner-Bar", "Corner-Bar-2", "Corner-Bar-3"):
        found = books_name("Corner Bar", taken=taken)
        assert found == expected
        taken.add(found)


def test_a_long_name_is_cut_and_ends_in_no_hyphen() -> None:
    found = books_name("x " * 200, taken=())
    assert len(found) <= 60
    assert re.fullmatch(r"[A-Z0-9][A-Za-z0-9]*(-[A-Za-z0-9]+)*", found)
