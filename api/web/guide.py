"""The guide: pages for each reader, written in Markdown and served as HTML that needs no network and runs no script.

- A page is a file of ``guide_pages``; its first line is its title, and ``PAGES`` gives the order.
- A block ``http`` is a request and the block ``json`` or ``text`` after it is its answer. Tests send every request of a
  page in order and compare the answers. Words after ``http`` or ``json`` are for them and are not shown.
"""

from collections.abc import Sequence
from functools import cache
from html import escape
from pathlib import Path
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse
from markdown_it import MarkdownIt
from markdown_it.token import Token

from .errors import not_found

router = APIRouter(prefix="/guide", include_in_schema=False)

PAGES = ("first-day", "owner", "collector", "venue", "accountant", "spreadsheet", "client", "operations")
"""The pages, in the order of the index."""

FOLDER = Path(__file__).parent / "guide_pages"

_CAPTIONS = {
    "http": "Request",
    "json": "Answer",
    "text": "Answer",
    "sh": "Command line",
    "powershell": "Command line of Windows",
    "calc": "Cells of LibreOffice",
    "excel": "Cells of Excel",
    "powerquery": "Power Query",
    "sheets": "Cells of Google Sheets",
}
_CONTENT_SECURITY = (
    "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


@router.get("")
def guide() -> HTMLResponse:
    """Return the index of the guide."""
    return _page("index")


@router.get("/{name}")
def guide_page(name: str) -> HTMLResponse:
    """Return a page of the guide."""
    if name not in PAGES:
        raise not_found("page")
    return _page(name)


def _page(name: str) -> HTMLResponse:
    headers = {
        "Content-Security-Policy": _CONTENT_SECURITY,
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "no-referrer",
    }
    return HTMLResponse(_html(name), headers=headers)


@cache
def _html(name: str) -> str:
    """Return a page as HTML; the index lists the others by their titles and first paragraphs."""
    text = (FOLDER / f"{name}.md").read_text()
    if name == "index":
        text += "".join(f"\n- [{title_of(page)}](/guide/{page}): {_first_words(page)}" for page in PAGES)
    links = "".join(
        f'<a href="/guide/{page}"{" aria-current=page" if page == name else ""}>{escape(title_of(page))}</a>'
        for page in PAGES
    )
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(_title(text))} · Baizebook</title>"
        '<link rel="icon" href="/assets/favicon.svg"><link rel="stylesheet" href="/assets/guide.css"></head><body>'
        f'<nav><a href="/guide">Guide</a>{links}<a href="/docs">Try it</a><a href="/redoc">Contract</a></nav>'
        f"<main>{_markdown().render(text)}</main></body></html>"
    )


def title_of(page: str) -> str:
    """Return a page's title."""
    return _title((FOLDER / f"{page}.md").read_text())


def _title(text: str) -> str:
    return text.splitlines()[0].removeprefix("# ")


def _first_words(page: str) -> str:
    """Return the first paragraph of a page."""
    return (FOLDER / f"{page}.md").read_text().split("\n\n")[1].replace("\n", " ")


@cache
def _markdown() -> MarkdownIt:
    markdown = MarkdownIt("commonmark", {"html": False}).enable("table")
    markdown.add_render_rule("fence", _fence)
    return markdown


def _fence(self: Any, tokens: Sequence[Token], index: int, options: Any, env: Any) -> str:  # noqa: ARG001
    """Return a block as a figure with a caption; only the first word after the fence is its kind."""
    token = tokens[index]
    kind = token.info.split(" ")[0]
    caption = _CAPTIONS.get(kind)
    said = f"<figcaption>{caption}</figcaption>" if caption else ""
    return (
        f'<figure class="{escape(kind)}">{said}<pre tabindex="0"><code>{escape(token.content)}</code></pre></figure>\n'
    )
