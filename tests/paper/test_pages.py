"""Pages made to be printed: what they say, that nothing on them runs, and that a browser prints each as meant."""

import re
import shutil
import subprocess
from datetime import timedelta
from pathlib import Path

import numpy
import pytest
import zxingcpp
from baizebook.paper.schemas import LINKED_PAGES
from fastapi.testclient import TestClient
from pypdf import PdfReader

from tests.conftest import NOON, Route

CSS = Path(__file__).parents[2] / "api" / "web" / "assets" / "paper.css"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DEARER = {"code": "weekday", "name": "Weekday play", "currency": "USD", "games": {"prices": [{"price": "1.00", "units": 1}, {"price": "4.00", "units": 5}]}}  # fmt: skip
TUESDAY = "2026-12-01"
NOON_ID = "0198c0de-0000-4000-8000-000000000009"


@pytest.fixture
def pages(at_noon: TestClient, route: Route) -> dict[str, str]:  # noqa: ARG001 (the clock stands)
    """The addresses of all pages of a venue whose name would be markup, with a table keyed before its prices changed."""
    venue = route.venue(name="The <b>Copper</b> Lantern")["id"]
    first = route.schedule(venue, route.tariff()["id"])["id"]
    meters = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]
    controller = {
        "games": {"prices_max": 7, "price_step": "0.25"},
        "windows_per_day": 1,
        "kinds_at_once": False,
        "clock": "weekday",
    }
    tables = [
        route.table(venue, label=label, meters=meters, controller=controller, frame_number="A-17")["id"]
        for label in ("Window side", "Back room")
    ]
    route.post(f"/tables/{tables[0]}/keyings", {"schedule_id": first, "keyed_at": "2026-11-01T12:00:00Z", "by": "Ana"})
    weekly = [{"name": "Shut", "days": ["tue"], "from": "06:00", "to": "15:00", "tariff": None}]
    route.schedule(venue, route.post("/tariffs", DEARER)["id"], effective_on="2026-11-20", weekly=weekly)
    route.post(f"/venues/{venue}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
    collection = "0198c0de-0000-4000-8000-000000000002"
    route.post("/collections", {
        "id": collection, "venue_id": venue, "collected_at": "2026-11-24T15:00:00Z", "collector": "Ana", "bag": "CL-7",
        "tables": [{"table_id": table, "meters": {"cash": 100}, "counted": {"0.25": 40, "5.00": 3}} for table in tables],
    })  # fmt: skip
    return {
        "settings-sheet": f"/v1/tables/{tables[0]}/settings-sheet.html",
        "price-card": f"/v1/venues/{venue}/price-card.html",
        "slip": f"/v1/collections/{collection}/slip.html",
        "statement": f"/v1/venues/{venue}/statement.html?month=2026-11",
        "card": f"/v1/tables/{tables[0]}/card.html",
        "bag-tags": f"/v1/venues/{venue}/bag-tags.html",
    }


def words(html: str) -> str:
    """Return the text of a page, without tags, on one line."""
    return " ".join(re.sub(r"<[^>]*>", " ", html.replace("&#39;", "'")).split())


def test_every_page_is_text_with_a_strict_policy(at_noon: TestClient, pages: dict[str, str]) -> None:
    for name, path in pages.items():
        answer = at_noon.get(path)
        assert (answer.status_code, answer.headers["Content-Type"]) == (200, "text/html; charset=utf-8"), answer.text
        policy = answer.headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'; style-src 'self'")
        assert "script" not in policy
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert not re.search(r"<script|javascript:|style=| on[a-z]+=", answer.text), name
        assert "The &lt;b&gt;Copper&lt;/b&gt; Lantern" in answer.text
        assert '<body class="a4">' in answer.text
        letter = at_noon.get(f"{path}{'&' if '?' in path else '?'}paper=letter")
        assert '<body class="letter">' in letter.text
    assert at_noon.get("/assets/paper.css").status_code == 200


def test_the_settings_sheet_has_old_beside_new_and_boxes_to_tick(at_noon: TestClient, pages: dict[str, str]) -> None:
    html = at_noon.get(pages["settings-sheet"]).text
    said = words(html)
    assert "Prices effective Wed 25 Nov 2026, 12:00." in said
    assert "games: 1 for 0.75 · 6 for 4.00 · 11 for 7.00 (repeat) games: 1 for 1.00 · 5 for 4.00 (repeat)" in said
    assert html.count('class="box"') > 5
    assert "Unplug the table before opening it" in said
    assert "local rules" in said.lower()


def test_the_price_card_says_what_each_note_buys_and_when_it_is_closed(
    at_noon: TestClient, pages: dict[str, str]
) -> None:
    said = words(at_noon.get(f"{pages['price-card']}?on={TUESDAY}").text)
    assert "Valid from Wed 25 Nov 2026, 12:00." in said
    assert "Monday, Wednesday to Sunday Time 1.00 5.00 20.00 all day 1 game 6 games 25 games" in said
    assert "Tuesday Time 1.00 5.00 20.00 06:00 to 15:00 Shut closed 15:00 to 06:00 1 game 6 games 25 games" in said
    before = words(at_noon.get(f"{pages['price-card']}?on=2026-11-09").text)
    assert "Valid from Thu 1 Jan 2026, 06:00 until Wed 25 Nov 2026, 12:00." in before
    assert "5.00 20.00" in before


def test_the_price_card_of_a_week_with_a_change_is_all_of_the_prices_that_it_names(
    at_noon: TestClient, pages: dict[str, str]
) -> None:
    """Prices change on Wednesday 25 November at noon, and a Tuesday of the new ones is closed until 15:00."""
    new = "Monday, Wednesday to Sunday Time 1.00 5.00 20.00 all day 1 game 6 games 25 games Tuesday Time"
    for on in ("2026-11-25", "2026-11-27"):
        said = words(at_noon.get(f"{pages['price-card']}?on={on}").text)
        assert "Valid from Wed 25 Nov 2026, 12:00." in said
        assert new in said
    before = words(at_noon.get(f"{pages['price-card']}?on=2026-11-24").text)
    assert "until Wed 25 Nov 2026, 12:00." in before
    assert "Monday to Sunday" in before
    assert "closed" not in before


def test_the_statement_says_what_was_taken_back(at_noon: TestClient, pages: dict[str, str]) -> None:
    collection = pages["slip"].removesuffix("/slip.html")
    assert at_noon.post(f"{collection}/reversal", json={"reason": "Boxes swapped"}).status_code == 201
    assert "Taken back: Collection of 2026-11-24, bag CL-7" in words(at_noon.get(pages["statement"]).text)


def test_the_slip_has_two_copies_with_two_signatures_and_what_was_handed_over(
    at_noon: TestClient, pages: dict[str, str]
) -> None:
    said = words(at_noon.get(pages["slip"]).text)
    assert said.count("Counted in all (USD) 50.00") == 2
    assert said.count("Handed over to the venue now 25.00") == 2
    assert (said.count("Venue's copy"), said.count("Operator's copy")) == (1, 1)
    assert (said.count("For the venue"), said.count("For the operator")) == (2, 2)
    assert "40 × 0.25 · 3 × 5.00" in said


def test_the_slip_hands_over_refunds_and_house_money_with_the_share(at_noon: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    table = route.table(venue)["id"]
    route.post(f"/venues/{venue}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
    collection = "0198c0de-0000-4000-8000-000000000003"
    returned = {"refunds_by_venue": "3.00", "house_money": "1.50"}
    tables = [{"table_id": table, "counted": {"1.00": 20}, **returned}]
    route.post("/collections", {
        "id": collection, "venue_id": venue, "collected_at": "2026-11-24T15:00:00Z", "tables": tables,
    })  # fmt: skip
    said = words(at_noon.get(f"/v1/collections/{collection}/slip.html").text)
    assert "Of the venue's share, handed over now 7.75 7.75" in said
    assert "Handed over to the venue now 12.25 Into the bag 7.75" in said


def test_the_statement_and_the_table_card_say_what_their_data_says(at_noon: TestClient, pages: dict[str, str]) -> None:
    statement = words(at_noon.get(pages["statement"]).text)
    data = at_noon.get(pages["statement"].replace("statement.html", "statements")).json()
    (line,) = data["lines"]
    assert f"{line['on']} {line['number']} {line['reference']} 50.00 25.00 25.00 0.00" in statement
    assert "Payable to the venue: 0.00 USD" in statement
    card = words(at_noon.get(pages["card"]).text)
    assert "Window side (frame A-17), The" in card
    assert "Tue 24 Nov 2026 The &lt;b&gt;Copper&lt;/b&gt; Lantern 100 25.00 USD Ana" in card


def test_a_page_that_cannot_be_is_refused_in_one_line(at_noon: TestClient, route: Route) -> None:
    bare = route.venue(name="Bare walls")["id"]
    answer = at_noon.get(f"/v1/venues/{bare}/bag-tags.html")
    assert (answer.status_code, answer.text) == (409, "No table at the venue")
    assert at_noon.get(f"/v1/venues/{bare}/price-card.html").status_code == 409
    assert at_noon.get(f"/v1/venues/{bare}/statement.html").status_code == 422


def test_a_link_leads_to_a_page_of_the_contract(at_noon: TestClient, pages: dict[str, str]) -> None:
    made = at_noon.app.openapi()["paths"]  # type: ignore[attr-defined]
    told = {re.sub(r"{\w+}", NOON_ID, path) for path in made if re.search(r"\.(html|svg|ics)$", path)}
    assert len(told) == 13
    assert all(LINKED_PAGES.fullmatch(path) for path in told)
    for wrong in ("/v1/nothing.html", "/v1/venues/x/price-card.html", pages["slip"].replace("slip", "card")):
        refused = at_noon.post("/v1/page-links", json={"address": wrong})
        assert refused.status_code == 422
        (error,) = refused.json()["errors"]
        assert (error["where"], error["found"]) == ("address", f'"{wrong}"')
        assert error["expected"].startswith("the path of a page")


def test_a_signed_link_opens_one_page_until_it_expires(at_noon: TestClient, pages: dict[str, str]) -> None:
    owner = dict(at_noon.headers)["authorization"]
    made = at_noon.post("/v1/tokens", json={"name": "Ana", "role": "collector"}).json()
    del at_noon.headers["Authorization"]
    ana = {"Authorization": f"Bearer {made['token']}"}

    def link(address: str) -> str:
        answer = at_noon.post("/v1/page-links", json={"address": address, "hours": 2}, headers=ana)
        assert answer.status_code == 201, answer.text
        assert answer.json()["expires_at"] == "2026-11-25T19:00:00Z"
        return str(answer.json()["url"].removeprefix("http://testserver"))

    signed = link(f"{pages['slip']}?paper=letter")
    opened = at_noon.get(signed)
    assert (opened.status_code, opened.headers["Referrer-Policy"]) == (200, "no-referrer")
    assert "signed=" not in opened.text
    text = signed.partition("signed=")[2]
    for other in (
        f"{pages['slip']}?signed={text}", f"{pages['card']}?paper=letter&signed={text}", f"{signed}x", f"{pages['slip']}?signed=",
        signed.replace("slip.html", "slip.html").replace("paper=letter", "paper=a4"),
    ):  # fmt: skip
        assert at_noon.get(other).status_code == 401, other
    assert at_noon.get(link(pages["statement"])).status_code == 403
    assert at_noon.get(f"/v1/venues?signed={text}").status_code == 401
    at_noon.app.state.clock = lambda: NOON + timedelta(hours=2)  # type: ignore[attr-defined]
    assert at_noon.get(signed).status_code == 401
    at_noon.app.state.clock = lambda: NOON  # type: ignore[attr-defined]
    assert at_noon.get(signed).status_code == 200
    at_noon.delete(f"/v1/tokens/{made['id']}", headers={"Authorization": owner})
    assert at_noon.get(signed).status_code == 401


def print_page(html: str, folder: Path, name: str) -> Path:
    """Return the PDF that Chromium prints of a page."""
    shutil.copy(CSS, folder / "paper.css")
    file = folder / f"{name}.html"
    file.write_text(html.replace("/assets/paper.css", "paper.css"))
    printed = file.with_suffix(".pdf")
    command = [str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    subprocess.run([*command, f"--print-to-pdf={printed}", file.as_uri()], check=True, capture_output=True, timeout=120)
    return printed


@pytest.mark.skipif(CHROMIUM is None, reason="chromium is NOT INSTALLED: no page was printed")
def test_a_browser_prints_every_page_on_one_sheet_with_its_address_as_a_code(
    at_noon: TestClient, pages: dict[str, str], tmp_path: Path
) -> None:
    at_noon.post("/v1/tokens", json={"name": "Ana", "role": "collector"})
    stops = [pages["price-card"].split("/")[3]]
    trip = at_noon.post("/v1/trips", json={"on": "2026-11-28", "person": "Ana", "stops": stops}).json()["id"]
    for name, path in {**pages, "trip": f"/v1/trips/{trip}.html"}.items():
        paper = "a4" if name in ("card", "trip") else "letter"
        address = f"{path}{'&' if '?' in path else '?'}paper={paper}"
        printed = print_page(at_noon.get(address).text, tmp_path, name)
        document = PdfReader(printed)
        assert len(document.pages) == 1, name
        size = [round(float(edge)) for edge in document.pages[0].mediabox[2:]]
        assert size == {"a4": [595, 842], "letter": [612, 792]}[paper]
        assert "Page 1 of 1" in document.pages[0].extract_text()
        codes = {code.text for code in zxingcpp.read_barcodes(picture(printed))}
        expected = f"http://testserver{address}" if name != "bag-tags" else "http://testserver/v1/tables/"
        assert any(code.startswith(expected) for code in codes), (name, codes)


LONG = "The Worshipful Company of Left-Handed Bell Founders' Social and Billiard Club, Upper Floor, Rear Entrance by the Canal"


@pytest.mark.skipif(CHROMIUM is None, reason="chromium is NOT INSTALLED: no page was printed")
def test_names_that_are_long_or_from_right_to_left_push_nothing_over_an_edge(
    at_noon: TestClient, route: Route, tmp_path: Path
) -> None:
    venues = [route.venue(name=name)["id"] for name in (LONG, "مقهى القمر الأزرق", "丸池撞球場 本店 二階")]
    tariff = route.tariff()["id"]
    for venue in venues:
        route.schedule(venue, tariff)
        route.post(f"/venues/{venue}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
    meters = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]
    labels = ("Window side, the one with the red cloth and the tray for the chalk", "الطاولة الثانية", "Third table")
    tables = [route.table(venues[0], label=label, meters=meters)["id"] for label in labels]
    for venue in venues[1:]:
        route.table(venue, label="三番台", meters=meters)
    for place in range(1, 15):
        route.post("/collections", {
            "id": f"0198c0de-0000-4000-8000-{place:012d}", "venue_id": venues[0], "collector": "Ana Bartholomew-Whittington",
            "collected_at": f"2026-11-{place + 8:02d}T15:00:00Z", "bag": f"B-{place}",
            "tables": [{"table_id": table, "meters": {"cash": 100 * place}, "counted": {"0.25": 40, "1.00": 37, "5.00": 30}}
                       for table in tables],
        })  # fmt: skip
    at_noon.post("/v1/tokens", json={"name": "Ana", "role": "collector"})
    trip = route.post("/trips", {"on": "2026-11-28", "person": "Ana", "stops": venues})["id"]

    def printed(name: str, address: str) -> list[str]:
        paper = "&paper=letter" if "?" in address else "?paper=letter"
        document = PdfReader(print_page(at_noon.get(address + paper).text, tmp_path, name))
        return [page.extract_text() for page in document.pages]

    assert len(printed("statement", f"/v1/venues/{venues[0]}/statement.html?month=2026-11")) == 1
    assert len(printed("slip", "/v1/collections/0198c0de-0000-4000-8000-000000000014/slip.html")) == 1
    assert len(printed("card", f"/v1/tables/{tables[0]}/card.html")) == 1
    sheets = printed("trip", f"/v1/trips/{trip}.html")
    assert len(sheets) <= 2
    for stop in range(1, 4):
        (sheet,) = [sheet for sheet in sheets if f"\n{stop}. " in sheet]
        assert "Empty the box" in sheet.split(f"\n{stop}. ")[1], "no stop is parted from its first table"
    (tags,) = printed("tags", f"/v1/venues/{venues[0]}/bag-tags.html")
    assert tags.count("Collected by") == 3
    boxes = subprocess.run(
        ["pdftotext", "-bbox", str(tmp_path / "tags.pdf"), "-"], check=True, capture_output=True, text=True
    ).stdout
    top = {word: float(y) for y, word in re.findall(r'yMin="([\d.]+)"[^>]*>(Third|Window)<', boxes)}
    assert top["Window"] < 170 < top["Third"], "60 mm a tag: one that is too full is cut, and covers no other"
    ends = [float(y) for y in re.findall(r'yMax="([\d.]+)"[^>]*>Collected<', boxes)]
    assert min(ends) < top["Third"]


def picture(printed: Path) -> "numpy.ndarray[tuple[int, int], numpy.dtype[numpy.uint8]]":
    """Return the first page of a document as grey pixels."""
    drawn = subprocess.run(
        ["pdftoppm", "-gray", "-r", "200", "-f", "1", "-l", "1", str(printed)], check=True, capture_output=True
    ).stdout
    _, size, _, pixels = drawn.split(b"\n", 3)
    width, height = map(int, size.split())
    return numpy.frombuffer(pixels, dtype=numpy.uint8).reshape(height, width)


def test_the_sheet_of_a_trip_says_what_its_data_says(at_noon: TestClient, pages: dict[str, str]) -> None:
    venue = pages["price-card"].split("/")[3]
    at_noon.post("/v1/tokens", json={"name": "Ana", "role": "collector"})
    at_noon.get("/v1/worklist")  # assesses the tables
    trip = at_noon.post("/v1/trips", json={"on": "2026-11-28", "person": "Ana", "stops": [venue]})
    assert trip.status_code == 201, trip.text
    said = words(at_noon.get(f"/v1/trips/{trip.json()['id']}.html").text)
    assert "Sat 28 Nov 2026, Ana" in said
    for table in trip.json()["stops"][0]["tables"]:
        assert table["label"] in said
    assert f"Bags here: {trip.json()['stops'][0]['bags']}." in said
    assert trip.json()["cautions"][0]["detail"] in said
    sheets = {(sheet["table"], sheet["on"]) for sheet in trip.json()["bring"]["sheets"]}
    assert sheets
    assert {on for _, on in sheets} == {"2026-11-28"}
    for table, _ in sheets:
        assert said.count(f"Settings sheet of Sat 28 Nov 2026: {table}, ") == 1
    assert at_noon.get(f"/v1/trips/{venue}.html").status_code == 404
