"""The command line (also ``python -m api``):

``baizebook serve · demo · migrate · doctor · backup · restore · token · quote · assess · ledger · contract``
"""

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from uuid import UUID

from sqlalchemy.exc import OperationalError

from .. import __version__
from ..app import create_app
from ..controllers.service import sheet_of
from ..demo.load import is_loaded, load, owner_token
from ..demo.show import answered_question, requests_to_paste
from ..ledger.queries import check_ledger
from ..pool_tables.service import get_table
from ..pricing import DomainError
from ..store import clock, migrate
from ..store.db import get_engine, reading, writing
from ..store.settings import get_settings
from ..tokens.service import make_token
from ..venues.service import get_venue
from ..web.errors import Problem, problem_out
from ..web.rows import ROLES
from ..worklist.service import assess_after
from .backup import back_up, restore
from .check import Finding, examine
from .quote_on_terminal import answer_on_terminal
from .serve import serve

Run = Callable[[argparse.Namespace], int | None]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return 0, or 1 after saying on the error stream what was refused."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options) or 0)
    except (Problem, DomainError) as error:
        problem = problem_out(error)
        print(f"{problem.title}.", file=sys.stderr)
        if isinstance(error, Problem) and problem.detail != problem.title:
            print(f"  {problem.detail}", file=sys.stderr)
        for item in problem.errors:
            print(f"  {item.where}: found {item.found}, expected {item.expected}", file=sys.stderr)
    except OperationalError as error:
        print(f"The database does not answer: {str(error.orig).strip()}", file=sys.stderr)
    except OSError as error:
        print(f"{error.filename or 'The system'}: {error.strerror or error}.", file=sys.stderr)
    except ValueError as error:
        print(error, file=sys.stderr)
    return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="baizebook", description="Runs a route of coin-operated pool tables.")
    parser.add_argument("--version", action="version", version=f"baizebook {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    server = _command(commands, "serve", _serve, "bring the database up to date, check it, then serve")
    _add_address(server)
    server.add_argument("--workers", type=int, default=1, help="processes that share the work (1)")

    demo = _command(commands, "demo", _demo, "load an invented route into an empty database, then serve it")
    _add_address(demo)
    demo.add_argument("--no-serve", action="store_true", help="load and show, but do not serve")
    demo.set_defaults(workers=1)

    _command(commands, "migrate", _migrate, "bring the database up to date")
    _command(commands, "doctor", _doctor, "check that the database keeps what is promised")

    backup = _command(commands, "backup", _backup, "write a verified copy of the database, also while it is in use")
    backup.add_argument("file", type=Path, help="where to write it; nothing is ever replaced")

    put_back = _command(commands, "restore", _restore, "put a backup in the place of the database")
    put_back.add_argument("file", type=Path, help="a backup; it is verified first")
    put_back.add_argument("--force", action="store_true", help="also where the database holds data: it is lost")

    token = commands.add_parser("token", help="make a token").add_subparsers(required=True, metavar="ACTION")
    create = _command(token, "create", _create_token, "make a token and print it, once")
    create.add_argument("--role", choices=ROLES, required=True, help="what it may do")
    create.add_argument("--name", required=True, help="whose it is, or what for")
    create.add_argument("--venue", type=UUID, help="of role venue: its id")
    create.add_argument("--table", type=UUID, help="of role device: its id")

    _add_question(_command(commands, "quote", _quote, "what does this money buy, here, then?"))

    _command(commands, "assess", _assess, "find what needs doing at all tables anew; once a day is enough")

    ledger = commands.add_parser("ledger", help="look after the books").add_subparsers(required=True, metavar="ACTION")
    _command(ledger, "verify", _verify_ledger, "follow the chain of entries and name the first that does not fit")

    _command(commands, "contract", _contract, "print the OpenAPI contract")
    return parser


def _command(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]", name: str, run: Run, says: str
) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=says, description=says)
    command.set_defaults(run=run)
    return command


def _add_address(command: argparse.ArgumentParser) -> None:
    command.add_argument("--host", default="127.0.0.1", help="the address to listen on (127.0.0.1)")
    command.add_argument("--port", type=int, default=8000, help="the port to listen on (8000)")


def _add_question(command: argparse.ArgumentParser) -> None:
    place = command.add_mutually_exclusive_group(required=True)
    place.add_argument("--venue", help="a venue's id or name")
    place.add_argument("--table", help="a table's id, or its label where only one table has it")
    asked = command.add_mutually_exclusive_group(required=True)
    asked.add_argument("--money", help='what does this much buy? such as "10.00"')
    asked.add_argument("--games", type=int, help="the least that buys so many games")
    asked.add_argument("--minutes", type=int, help="the least that buys so long")
    command.add_argument("--at", help="an instant, or the venue's wall clock without an offset; else it is now")
    command.add_argument("--day", help="with --time: monday … sunday, or mon … sun: the next such trading day")
    command.add_argument("--time", help="with --day: HH:MM")
    command.add_argument("--players", type=int, default=1, help="for metered rates charged per player (1)")
    command.add_argument("--basis", choices=("listed", "keyed"), help="what is listed, or what is keyed (of a table)")
    command.add_argument("--json", action="store_true", help="print the answer of the API")


def _serve(options: argparse.Namespace) -> int:
    migrate.upgrade(get_engine())
    findings = examine(create_app())
    get_engine().dispose()
    _show(finding for finding in findings if finding.grade != "good")
    if any(finding.grade == "bad" for finding in findings):
        print("The service does not start like this.", file=sys.stderr)
        return 1
    serve(host=options.host, port=options.port, workers=options.workers)
    return 0


def _doctor(options: argparse.Namespace) -> int:  # noqa: ARG001
    findings = examine(create_app())
    _show(findings)
    return int(any(finding.grade == "bad" for finding in findings))


def _show(findings: Iterable[Finding]) -> None:
    for finding in findings:
        stream = sys.stdout if finding.grade == "good" else sys.stderr
        print(f"{finding.grade:7}  {finding.what}: {finding.says}", file=stream, flush=True)


def _backup(options: argparse.Namespace) -> None:
    says = back_up(get_settings(), get_engine(), options.file)
    print(f"{options.file}: {says}.")


def _restore(options: argparse.Namespace) -> None:
    says = restore(get_settings(), get_engine(), options.file, force=options.force)
    print(f"The database is that of {options.file}: {says}.")


def _demo(options: argparse.Namespace) -> int:
    migrate.upgrade(get_engine())
    now = clock.now()
    with writing(get_engine()) as session:
        if not is_loaded(session):
            load(session, now=now)
        token = owner_token(session, now=now)
    base_url = f"http://{options.host}:{options.port}"
    with reading(get_engine()) as session:
        print(answered_question(session, now=now), end="\n\n")
        print(requests_to_paste(session, base_url=base_url, token=token, now=now), end="\n\n", flush=True)
    if not options.no_serve:
        print(f"Try it by hand: {base_url}/docs", flush=True)
        return _serve(options)
    return 0


def _migrate(options: argparse.Namespace) -> None:  # noqa: ARG001
    migrate.upgrade(get_engine())
    print(f"The database is at revision {migrate.newest_revision()}.")


def _create_token(options: argparse.Namespace) -> None:
    migrate.upgrade(get_engine())
    with writing(get_engine()) as session:
        if options.venue is not None:
            get_venue(session, options.venue)
        if options.table is not None:
            get_table(session, options.table)
        _, token = make_token(
            session,
            name=options.name,
            role=options.role,
            venue_id=options.venue,
            table_id=options.table,
            expires_at=None,
            now=clock.now(),
        )
    print(token)


def _assess(options: argparse.Namespace) -> None:  # noqa: ARG001
    """Assess all tables, some at a time: nobody else waits for long."""
    migrate.upgrade(get_engine())
    now, after, more = clock.now(), None, True
    while more:
        with writing(get_engine()) as session:
            after = assess_after(session, after=after, now=now)
        more = after is not None
    print("All tables are assessed.")


def _verify_ledger(options: argparse.Namespace) -> int:  # noqa: ARG001
    migrate.upgrade(get_engine())
    with reading(get_engine()) as session:
        check = check_ledger(session)
    if check.first_bad is None:
        print(f"{check.entries} entries, and every one fits. The last hash is {check.last_hash or 'none yet'}.")
        return 0
    bad = check.first_bad
    print(f"Entry {bad.place} does not fit (number {bad.number}, id {bad.id}): {bad.why}.", file=sys.stderr)
    return 1


def _contract(options: argparse.Namespace) -> None:  # noqa: ARG001
    print(contract_text(), end="")


def contract_text() -> str:
    """Return the contract as it is committed: JSON, two spaces, one line end at the end."""
    return json.dumps(create_app().openapi(), indent=2, ensure_ascii=False) + "\n"


def _quote(options: argparse.Namespace) -> None:
    migrate.upgrade(get_engine())
    with reading(get_engine()) as session:
        print(answer_on_terminal(session, options, now=clock.now(), sheet_of=sheet_of))
