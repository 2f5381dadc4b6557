"""A page of a list ends before it takes more than a megabyte; whoever follows ``next`` sees each item once."""

from collections.abc import Sequence
from operator import attrgetter

import baizebook.web.pagination
import pytest
from baizebook.web.pagination import PAGE_BYTES_MAX, Page, write_page
from fastapi.testclient import TestClient
from pydantic import BaseModel

from tests.conftest import Route

HALF = PAGE_BYTES_MAX // 2


class Item(BaseModel):
    id: int
    text: str = ""


def written(sizes: Sequence[int], *, next_: int | None = None) -> tuple[list[int], int | None, int]:
    """Return the ids on the page, its ``next``, and how many rows were written for it."""
    rows, asked = [Item(id=number) for number in range(len(sizes))], 0

    def write(some: Sequence[Item]) -> list[Item]:
        nonlocal asked
        asked += len(some)
        return [Item(id=row.id, text="x" * sizes[row.id]) for row in some]

    page = write_page(Page(rows, next_, attrgetter("id")), write)
    return [item.id for item in page.rows], page.next, asked


def test_small_items_fill_the_page_as_asked() -> None:
    assert written([10] * 500, next_=499) == (list(range(500)), 499, 500)
    assert written([]) == ([], None, 0)


def test_large_items_end_the_page_and_few_are_written_in_vain() -> None:
    ids, next_, asked = written([HALF // 10] * 500)
    assert (len(ids), next_) == (19, 18)
    assert asked <= 32


def test_one_item_always_fits_and_the_next_page_begins_after_it() -> None:
    assert written([3 * PAGE_BYTES_MAX, 10]) == ([0], 0, 2)
    assert written([3 * PAGE_BYTES_MAX]) == ([0], None, 1)


def test_a_row_that_is_not_for_the_caller_is_passed_over() -> None:
    rows = [Item(id=number) for number in range(5)]
    page = write_page(Page(rows, 4), lambda some: [row if row.id % 2 else None for row in some])
    assert ([item.id for item in page.rows], page.next) == ([1, 3], 4)


def test_a_row_that_is_not_written_is_a_mistake() -> None:
    with pytest.raises(ValueError, match="1 rows became 0 messages"):
        write_page(Page([Item(id=1)], None), lambda _: [])


@pytest.mark.parametrize("path", ["venues", "tariffs", "tables", "ledger/entries"])
def test_whoever_follows_short_pages_sees_each_item_once(
    client: TestClient, route: Route, path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for _ in range(5):
        route.table(route.venue()["id"])
        route.tariff()
        body = {"kind": "opening", "amount": "5.00", "on": "2026-11-02", "currency": "USD"}
        assert client.post("/v1/ledger/entries", json=body).status_code == 201
    whole = [item["id"] for item in client.get(f"/v1/{path}?limit=500").json()["items"]]
    monkeypatch.setattr(baizebook.web.pagination, "PAGE_BYTES_MAX", 1_200)
    seen: list[str] = []
    pages, next_ = 0, ""
    while next_ is not None:
        answer = client.get(f"/v1/{path}?limit=500{f'&after={next_}' if next_ else ''}")
        seen += [item["id"] for item in answer.json()["items"]]
        next_, pages = answer.json()["next"], pages + 1
        assert ("next" in answer.links) == (next_ is not None)
    assert (seen, pages > 1) == (whole, True)
