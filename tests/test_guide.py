"""The guide: every request on its pages succeeds and is answered as the page says; it is served whole without a network."""

import re
from pathlib import Path

import pytest
from baizebook.web.guide import FOLDER, PAGES, title_of
from fastapi.testclient import TestClient

from tests.guide import page_with_answers

README = (Path(__file__).parent.parent / "README.md").read_text()


@pytest.mark.parametrize("page", PAGES)
def test_every_request_of_a_page_is_answered_as_the_page_says(page: str) -> None:
    written = (FOLDER / f"{page}.md").read_text()
    assert page_with_answers(page) == written, "an answer has changed: python -m tests.guide"
    requests, answers = (len(re.findall(rf"^```{kind}\b", written, re.M)) for kind in ("http", "(?:json|text)"))
    assert requests == answers > 1, "each request has its answer"


def test_a_page_with_a_wrong_answer_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = (FOLDER / "operations.md").read_text()
    (tmp_path / "operations.md").write_text(text.replace('"ok": true', '"ok": false'))
    monkeypatch.setattr("tests.guide.FOLDER", tmp_path)
    assert page_with_answers("operations") == text != (tmp_path / "operations.md").read_text()


def test_the_index_names_every_page_and_the_docs_and_the_readme_name_the_index(client: TestClient) -> None:
    index = client.get("/guide").text
    for page in PAGES:
        assert f'href="/guide/{page}">{title_of(page)}</a>' in index.replace("&#x27;", "'")
    assert set(PAGES) | {"index"} == {file.stem for file in FOLDER.iterdir()}
    assert "](/guide)" in client.get("/openapi.json").json()["info"]["description"]
    assert "/guide>" in README


def test_a_page_is_html_without_a_script_and_loads_only_from_this_service(client: TestClient) -> None:
    del client.headers["Authorization"]
    for address in ("/guide", *(f"/guide/{page}" for page in PAGES)):
        answer = client.get(address)
        assert answer.headers["content-type"] == "text/html; charset=utf-8"
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "script-src" not in policy
        assert "<script" not in answer.text
        assert " style=" not in answer.text
        loaded = re.findall(r'(?:src|<link[^>]* href)="([^"]+)"', answer.text)
        assert loaded == ["/assets/favicon.svg", "/assets/guide.css"]
        assert all(client.get(file).status_code == 200 for file in loaded)
        for link in set(re.findall(r'<a href="([^"]+)"', answer.text)):
            assert client.get(link).status_code == 200, link
    assert client.get("/guide/nothing").status_code == 404
