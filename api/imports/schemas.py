"""Imports as answered."""

from typing import Annotated, Literal

from pydantic import Field as Limits

from ..web.errors import ProblemOut
from ..web.schema_types import Id, Out
from .columns import ColumnFoundBy, Of

Mode = Literal["all", "lines"]
LineOutcome = Literal["new", "same", "changed", "refused"]


class ImportColumnOut(Out):
    """One column of the file, the field that it was read as, and who said so."""

    header: str
    field: Annotated[str | None, Limits(description="Null: the column was left out.")]
    by: Annotated[
        ColumnFoundBy,
        Limits(
            description="`header`: its name says it; `stated`: you said so; `remembered`: as in the last stored file of "
            "this shape; `left_out`: not read."
        ),
    ]


class ImportLineOut(Out):
    """The outcome of one line."""

    line: Annotated[int, Limits(description="The line's number as a spreadsheet shows it; the header's is mostly 1.")]
    outcome: Annotated[
        LineOutcome,
        Limits(
            description="`new`: made; `same`: stored before, nothing changes; `changed`: corrects a line stored before, "
            "or what is stored under its name; `refused`: see `problem`."
        ),
    ]
    id: Annotated[
        Id | None, Limits(description="What the line made or is; null where it is refused, or not stored yet.")
    ]
    problem: Annotated[
        ProblemOut | None, Limits(description="Why it is refused; left out past the first 100 refused lines.")
    ]


class ImportOut(Out):
    """What an import did, or would do, line by line, and how the file was read."""

    of: Of
    mode: Mode
    stored: Annotated[bool, Limits(description="False for a preview, and where one line refused all (`mode=all`).")]
    shape: Annotated[str, Limits(description="The name of the file's shape: the same headers have the same name.")]
    columns: list[ImportColumnOut]
    rules: Annotated[list[str], Limits(description="How the file, its dates, numbers and empty cells were read.")]
    lines: list[ImportLineOut]
    new: int
    same: int
    changed: int
    refused: int
