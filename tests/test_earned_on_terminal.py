"""What was earned, on the terminal: a table, plain lines where piped, the API's JSON; refusals in words."""

import json
from io import StringIO

import pytest
from baizebook.earnings.schemas import EarningsOut
from baizebook.ops.earned_on_terminal import as_table, earned_lines, waiting_in_words
from fastapi.testclient import TestClient
from rich.console import Console

from tests.cash.conftest import Till
from tests.cash.conftest import till as till
from tests.conftest import Run


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_month_by_venue_is_a_table_and_piped_plain_lines(at_noon: TestClient, till: Till) -> None:
    till.agree()
    till.collect("2026-11-03", 90, cash=40)
    till.collect("2026-11-10", 50, cash=400)
    answer = at_noon.get("/v1/reports/earnings?by=venue&from=2026-11-01&to=2026-12-01").text
    found = EarningsOut.model_validate_json(answer)
    head, row, total = earned_lines(found)
    assert head[:3] == ("venue", "currency", "gross")
    assert row == (
        "The Copper Lantern",
        "USD",
        "140.00",
        "0.00",
        "0.00",
        "70.00",
        "70.00",
        "0.00",
        "70.00",
        "0",
        "1.00",
    )
    assert total == ("total", *row[1:])
    assert waiting_in_words(found) == "1 table has money of this time in the box still: not counted here, not 0."
    screen = Console(file=StringIO(), width=140, force_terminal=True, color_system=None)
    screen.print(as_table([head, row, total], names=1, title="Earned in 2026-11"))
    shown = screen.file.getvalue()  # type: ignore[attr-defined]
    assert "Earned in 2026-11" in shown
    assert shown.count("140.00") == 2


def test_without_a_grouping_there_is_only_the_total() -> None:
    nothing = EarningsOut.model_validate(
        {
            "from": "2026-11-01",
            "to": "2026-12-01",
            "by": [],
            "rows": [],
            "totals": [],
            "not_yet_collected": [],
            "notice": "",
        }
    )
    assert next(iter(earned_lines(nothing)))[:2] == ("currency", "gross")
    assert waiting_in_words(nothing) is None


def test_the_command_prints_lines_and_json_and_says_what_is_wrong(run: Run) -> None:
    status, out, _ = run("earned", "--month", "2026-11")
    assert (status, out.splitlines()[0].split("\t")[:2]) == (0, ["venue", "currency"])
    status, out, _ = run("earned", "--month", "2026-11", "--by", "table,month", "--json")
    assert (status, json.loads(out)["by"]) == (0, ["table", "month"])
    for options, words in (
        (("--month", "2026-13"), "a month such as 2026-11"),
        (("--month", "2026-11", "--by", "moon"), "moon"),
    ):
        status, _, err = run("earned", *options)
        assert status == 1
        assert words in err
