"""Whose name or id somebody typed: a venue, a table or a token, in any case; a near miss is offered."""

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from uuid import UUID

from sqlmodel import Session, select

from ..pool_tables.rows import PoolTableRow
from ..venues.rows import VenueRow
from ..web.errors import Problem, http_problem

_NEAR, _NAMES_MAX = 0.5, 5


def venue_named(session: Session, typed: str) -> UUID:
    """Return the venue whose name or id was typed after ``--venue``; refused where there is none, or several."""
    return named({row.id: row.name for row in session.exec(select(VenueRow))}, typed, what="venue", where="--venue")


def table_named(session: Session, typed: str) -> UUID:
    """Return the table whose label or id was typed after ``--table``; refused where there is none, or several."""
    labels = {row.id: row.label for row in session.exec(select(PoolTableRow))}
    return named(labels, typed, what="table", where="--table")


def named(names: Mapping[UUID, str], typed: str, *, what: str, where: str) -> UUID:
    """Return whose id or, in any case, name was typed; else refuse, and offer the names that come near."""
    folded = typed.strip().casefold()
    found = [id for id, name in names.items() if folded in (name.casefold(), str(id))]
    if len(found) == 1:
        return found[0]
    raise (
        _several(typed, found, what=what, where=where)
        if found
        else _none(typed, names.values(), what=what, where=where)
    )


def _several(typed: str, found: list[UUID], *, what: str, where: str) -> Problem:
    ids = " or ".join(str(id) for id in found[:_NAMES_MAX])
    return http_problem("invalid", where=where, found=f"{typed!r}, which {len(found)} {what}s have", expected=ids)


def _none(typed: str, names: Iterable[str], *, what: str, where: str) -> Problem:
    known = {name.casefold(): name for name in names}
    folded = typed.casefold()
    near = [name for fold, name in known.items() if folded in fold]
    near += [known[fold] for fold in get_close_matches(folded, known, n=_NAMES_MAX, cutoff=_NEAR)]
    offered = " or ".join(dict.fromkeys(near[:_NAMES_MAX])) or f"a {what}'s name or id"
    return http_problem("invalid", where=where, found=f"{typed!r}, which no {what} has", expected=offered)
