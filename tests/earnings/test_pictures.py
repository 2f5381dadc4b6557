"""Pictures: well-formed, named for a screen reader, readable without colour, and true to their numbers."""

import csv
import io
from datetime import date
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest
from baizebook.earnings.bars_picture import Bar, Panel, bars_picture, longest
from baizebook.earnings.svg_parts import WIDTH, picture, scale_step, text
from baizebook.earnings.weeks_picture import Waiting, WeekTakings, weeks_of, weeks_picture
from baizebook.price_changes.change_picture import change_picture
from baizebook.pricing import Ladder, Rung, Tariff
from baizebook.pricing.effort import Effort
from baizebook.what_if.comparison import Intake, WhatIf, compare
from baizebook.what_if.paired_windows import PricedSide, paired_windows
from baizebook.what_if.steps_picture import steps_picture
from fastapi.testclient import TestClient

from tests.cash.conftest import Till

SVG = "{http://www.w3.org/2000/svg}"
MONDAY = date(2026, 11, 2)


def games(*rungs: tuple[int, int]) -> Tariff:
    return Tariff("USD", games=Ladder(tuple(Rung(*rung) for rung in rungs)))


def two_lists() -> str:
    sides = [
        PricedSide(name=str(i), tariff=games(*rungs)) for i, rungs in enumerate((((75, 1), (400, 6)), ((100, 1),)))
    ]
    found = compare(paired_windows(*sides), WhatIf(intake=Intake(counts={}), amounts=[100]), work=Effort())
    return steps_picture("The first price buys less.", found, currency="USD")


WEEKS = weeks_picture(
    {"USD": [WeekTakings(MONDAY, 140_00), WeekTakings(date(2026, 11, 9), 60_00, 40_00)]},
    from_on=MONDAY,
    until_on=date(2026, 11, 16),
)
CHANGE = change_picture(
    "It brought more.", [(-1, 90_00, 95_00), (1, 120_00, None)], (5_00, 21_40, 30_70), currency="USD"
)


BARS = [Bar(name=f"<{n}>", amount=n, beyond=n % 3, words=str(n)) for n in range(20)]
PANELS = [Panel(head="Games", bars=BARS, middle=19), Panel(head="Nothing", bars=[]), Panel(head="Zero", bars=BARS[:1])]
MANY = bars_picture("Many", PANELS, from_on=MONDAY, until_on=date(2026, 11, 16), legend="Grey: counted.")
NO_BARS = bars_picture("None", [], from_on=MONDAY, until_on=date(2026, 11, 16), legend="Grey: counted.")


@pytest.mark.parametrize(
    "drawn", [WEEKS, CHANGE, MANY, NO_BARS, two_lists(), change_picture("Cannot tell.", [], None, currency="USD")]
)
def test_a_picture_has_a_title_a_description_and_stays_within_its_width(drawn: str) -> None:
    root = ET.fromstring(drawn)
    assert (root.get("role"), root.get("aria-labelledby")) == ("img", "title description")
    assert all(root.find(f"{SVG}{name}").text for name in ("title", "desc"))  # type: ignore[union-attr]
    for name in ("x", "x1", "x2", "cx"):
        assert all(0 <= float(part.get(name, "0")) <= WIDTH for part in root.iter())
    assert not [part for part in root.iter() if part.tag.endswith("script")]
    colours = {part.get(name) for part in root.iter() for name in ("fill", "stroke")} - {None}
    assert colours <= {"#fff", "#111", "#444", "none", "url(#hatch)"}


def test_a_bar_is_as_high_as_its_week_and_what_is_not_collected_is_hatched() -> None:
    bars = [part for part in ET.fromstring(WEEKS).iter(f"{SVG}rect") if part.get("fill") in ("#444", "url(#hatch)")]
    heights = [(part.get("fill"), float(part.get("height", "0"))) for part in bars]
    assert [fill for fill, _ in heights] == ["#444", "#444", "url(#hatch)"]
    first, counted, waiting = (height for _, height in heights)
    assert counted / first == pytest.approx(60 / 140, abs=0.01)
    assert waiting / first == pytest.approx(40 / 140, abs=0.01)


def test_bars_are_as_long_as_their_amounts_and_end_within_a_sheet_of_paper() -> None:
    root = ET.fromstring(MANY)
    grey = [float(part.get("width", "0")) for part in root.iter(f"{SVG}rect") if part.get("fill") == "#444"]
    assert [width / grey[0] for width in grey] == pytest.approx(list(range(1, 20)), rel=0.02)
    height = float(root.get("viewBox", "").split()[3]) * int(root.get("width", "0")) / WIDTH
    assert height <= 1000


def test_the_longest_bars_are_drawn_and_the_others_added_up() -> None:
    drawn = longest(BARS, words=lambda amount, beyond: f"{amount}+{beyond}")
    lengths = [one.amount + one.beyond for one in drawn[:-1]]
    assert lengths == sorted((one.amount + one.beyond for one in BARS), reverse=True)[:14]
    assert (drawn[-1].name, drawn[-1].amount + drawn[-1].beyond) == ("The other 6 together", 20)
    assert longest(BARS[:15], words=lambda *_: "")[0] == BARS[14]


def test_every_week_of_the_period_has_its_place_also_without_money() -> None:
    waiting = Waiting(currency="USD", from_on=date(2026, 11, 8), until_on=date(2026, 11, 11), estimate=10)
    assert weeks_of({("USD", MONDAY): 5}, [waiting], from_on=date(2026, 11, 1), until_on=date(2026, 11, 17)) == {
        "USD": [
            WeekTakings(date(2026, 10, 26), 0, 0), WeekTakings(MONDAY, 5, 4), WeekTakings(date(2026, 11, 9), 0, 6), WeekTakings(date(2026, 11, 16), 0, 0),
        ]
    }  # fmt: skip


def test_two_lists_are_drawn_as_steps() -> None:
    lines = [part.get("points", "").split() for part in ET.fromstring(two_lists()).iter(f"{SVG}polyline")]
    assert len(lines) == 2
    for points in lines:
        corners = [tuple(map(float, point.split(","))) for point in points]
        assert all(a[0] == b[0] or a[1] == b[1] for a, b in pairwise(corners))


def test_what_is_written_is_escaped() -> None:
    drawn = picture("<a&b>", '"', [text(0, 0, "<script>")], height=20)
    assert "<script>" not in drawn
    assert ET.fromstring(drawn).find(f"{SVG}title").text == "<a&b>"  # type: ignore[union-attr]


@pytest.mark.parametrize(("highest", "step"), [(1, 1), (5, 1), (6, 2), (11, 5), (26, 10), (99_999, 20_000)])
def test_a_scale_has_two_to_five_round_steps(highest: int, step: int) -> None:
    assert scale_step(highest) == step


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_every_report_of_earnings_is_drawn_with_its_numbers(at_noon: TestClient, till: Till) -> None:
    till.collect("2026-11-10", 50, cash=240)
    till.collect("2026-11-20", 80, cash=560)
    period = "from=2026-11-11&to=2026-12-01"
    reports = [f"earnings?by={by}&" for by in ("week", "venue", "table", "", "week,venue", "agreement", "denomination")]
    for report in (*reports, "best-and-worst?", "play?"):
        answer = at_noon.get(f"/v1/reports/{report}{period}&format=svg")
        assert (answer.status_code, answer.headers["content-type"]) == (200, "image/svg+xml"), report
        said = "".join(ET.fromstring(answer.text).itertext())
        assert {"earnings?by=week,venue&": "40.00", "play?": "played", "best-and-worst?": "56.00"}.get(
            report, "80.00"
        ) in said
    by_table = at_noon.get(f"/v1/reports/earnings?by=table&{period}&format=svg").text
    assert "80.00 + about 40.00" in by_table  # five days at 8.00
    text = at_noon.get(f"/v1/reports/best-and-worst?{period}&format=csv").text
    (named,) = csv.DictReader(io.StringIO(text))
    assert (named["side"], named["place"], named["a_week"], named["table_id"]) == (
        "best",
        "1",
        "56.00",
        till.table,
    )  # 80.00 in ten days
