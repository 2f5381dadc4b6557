"""What the demo prints: one question with its answer, and requests ready to paste."""

from datetime import datetime, time
from pathlib import Path

from sqlmodel import Session, select

from ..pool_tables.rows import PoolTableRow
from ..quotes.convert import quote_in_words
from ..quotes.schemas import QuoteOut
from ..quotes.service import QuoteContexts, QuoteRequest, When
from ..schedules.queries import place_of_table
from ..venues.rows import VenueRow

FILE_TO_IMPORT = Path(__file__).parent / "readings_to_import.csv"
"""Readings of the demo's tables as somebody typed them, with five mistakes: a date and a number that could be two, a
table that is not there, a formula, and a table read twice at one time with different meters."""


def answered_question(session: Session, *, now: datetime) -> str:
    """Ask what ten dollars buy on Tuesday at nine at the Copper Lantern, and answer it."""
    venue = session.exec(select(VenueRow).where(VenueRow.name == "The Copper Lantern")).one()
    when = When(day="tue", time=time(21))
    asked = QuoteRequest(money="10.00")
    contexts = QuoteContexts(session, now=now)
    answer = QuoteOut.model_validate(contexts.ask(venue_id=venue.id, table_id=None, basis=None, when=when, asked=asked))
    return "What does 10.00 buy on Tuesday at 21:00?\n" + quote_in_words(answer, where=venue.name)


def requests_to_paste(session: Session, *, base_url: str, token: str, now: datetime, windows: bool = False) -> str:
    """Return requests to try, with the ids and the token filled in; ``windows``: for PowerShell."""
    lantern = session.exec(select(VenueRow).where(VenueRow.name == "The Copper Lantern")).one()
    marigold = session.exec(select(VenueRow).where(VenueRow.name == "Marigold Billiard Hall")).one()
    back_room = session.exec(select(PoolTableRow).where(PoolTableRow.label == "Back room")).one()
    assert place_of_table(session, back_room.id, at=now).venue.id == lantern.id
    paths = {
        "What does $10 buy on Tuesday at 9 in the evening?": f"quotes?venue_id={lantern.id}&day=tuesday&time=21:00&money=10.00",
        "The least that buys six games now": f"quotes?venue_id={lantern.id}&games=6",
        "A table that was not keyed after the price change": f"quotes?table_id={back_room.id}&money=5.00",
        "An hour and a half in the hall": f"quotes?venue_id={marigold.id}&minutes=90",
        "The week, resolved": f"venues/{lantern.id}/week",
        "The same question for a spreadsheet": f"quotes?format=csv&venue_id={lantern.id}&money=10.00",
    }
    name, more = ("$env:TOKEN", "`") if windows else ("$TOKEN", "\\")
    curl = f'{"curl.exe" if windows else "curl"} -s -H "Authorization: Bearer {name}"'
    lines = [f'$env:TOKEN = "{token}"' if windows else f"export TOKEN={token}"]
    for title, path in paths.items():
        lines += ["", f"# {title}", f'{curl} "{base_url}/v1/{path}"']
    lines += [
        "",
        "# A file of readings with five mistakes: a preview says which",
        f'{curl} -H "Content-Type: text/csv" {more}',
        f"  --data-binary '@{FILE_TO_IMPORT}' '{base_url}/v1/imports?of=readings&preview=true'",
    ]
    return "\n".join(lines)
