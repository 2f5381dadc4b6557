"""A page made to be printed: black on white, no script, one stylesheet, its own address as a QR code.

- Everything that a page shows is text put in by its template, which escapes it: a name cannot become markup.
- Pages are A4 or Letter; page numbers come from the stylesheet (``web/assets/paper.css``).
- The QR code is of model 2 by ISO/IEC 18004, as ``segno`` draws it: the address of the page, which asks for a token.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import segno
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

Paper = Literal["a4", "letter"]

_TEMPLATES = Environment(
    loader=FileSystemLoader(Path(__file__).parent / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedPage:
    """The template of a page and what it says; ``where`` stands under the title, ``cautions`` before its end."""

    template: str
    title: str
    where: str
    values: Mapping[str, Any]
    cautions: Sequence[str] = ()
    notices: Sequence[str] = field(default=())


def render(page: PrintedPage, *, address: str, paper: Paper, printed: str) -> str:
    """Return a page as HTML; ``printed`` is the date and time at which it was made, in words."""
    return _TEMPLATES.get_template(f"{page.template}.html").render(
        **page.values,
        title=page.title,
        where=page.where,
        cautions=page.cautions,
        notices=page.notices,
        address=address,
        qr=qr_code(address),
        paper=paper,
        printed=printed,
    )


def qr_code(address: str) -> Markup:
    """Return an address as a QR code, an SVG image to stand inside a page."""
    drawn = segno.make(address, error="m", micro=False).svg_inline(border=2, svgclass="qr", omitsize=True)
    return Markup(drawn)
