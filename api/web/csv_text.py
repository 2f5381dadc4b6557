"""CSV that a spreadsheet opens as it is meant: the one place that writes it, for every export and every quote.

- RFC 4180: a header, CRLF after every line, cells quoted where they need it, quotes doubled.
- Text is on one line and never a formula: a leading apostrophe guards what begins with ``= + - @ | %`` or one of their
  full-width forms, tabs and line breaks become spaces. Numbers and amounts are written as they are.
"""

import csv
import io
from collections.abc import Iterable

_FORMULA = tuple("=+-@|%＝＋－＠｜％")


def csv_text(header: Iterable[str], lines: Iterable[Iterable[object]]) -> str:
    """Return CSV text, to be encoded as UTF-8; free text in ``lines`` must have passed ``text_cell``."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows(lines)
    return out.getvalue()


def text_cell(text: str) -> str:
    """Return free text on one line that no spreadsheet takes for a formula."""
    line = one_line(text)
    return f"'{line}" if line.startswith(_FORMULA) else line


def one_line(text: str) -> str:
    """Return the text with each run of white space and control characters, or what is no character, as one space."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
