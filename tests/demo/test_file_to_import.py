"""The demo's file of readings has five mistakes, and exactly those five are told."""

import re
from pathlib import Path

from baizebook.demo.load import owner_token
from baizebook.demo.printed_example import FILE_TO_IMPORT, requests_to_paste
from baizebook.store.db import writing
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from tests.conftest import NOON

PLANTED = {
    5: ("ambiguous_date", "3 April 2026 (dates=dmy) or 4 March 2026 (dates=mdy)"),
    6: ("ambiguous_number", "5480 (decimals=point)"),
    7: ("unknown_name", "the name of a table of the route"),
    8: ("cell_is_formula", "paste it as values"),
    9: ("twice_in_file", "each once"),
}
CSV = {"Content-Type": "text/csv"}


def test_the_preview_that_the_demo_offers_tells_exactly_the_five(demo: TestClient, engine: Engine) -> None:
    with writing(engine) as session:
        token = owner_token(session, now=NOON)
        text = requests_to_paste(session, base_url="http://testserver", token=token, now=NOON)
    found = re.search(r"--data-binary '@(.+)' '(http://testserver.+)'", text)
    assert found is not None
    headers = {"Authorization": f"Bearer {token}", **CSV}
    answer = demo.post(found[2], content=Path(found[1]).read_bytes(), headers=headers).json()
    told = {line["line"]: line["problem"] for line in answer["lines"] if line["problem"]}
    assert {line: problem["code"] for line, problem in told.items()} == {
        line: code for line, (code, _) in PLANTED.items()
    }
    for line, (_, expected) in PLANTED.items():
        assert expected in told[line]["errors"][0]["expected"]
    assert (answer["stored"], answer["new"], answer["refused"]) == (False, 4, 5)


def test_corrected_as_the_problems_say_it_comes_in(demo: TestClient) -> None:
    lines = FILE_TO_IMPORT.read_text().splitlines()
    lines[6] = lines[6].replace("Balcony", "Saal")
    lines[7] = lines[7].replace("=D5+18", "1808")
    del lines[8]
    asked = {"of": "readings", "dates": "mdy", "decimals": "point"}
    answer = demo.post("/v1/imports", params=asked, content="\n".join(lines), headers=CSV).json()
    assert (answer["stored"], answer["new"], answer["refused"]) == (True, 8, 0), answer
