"""The command line: what can be typed, and what each command does, looked up by name only when it is run.

``baizebook serve · demo · migrate · check · backup · restore · token create|list|revoke · quote · worklist · sheet
· import · export · earned · assess · deliver · ledger verify · contract``

- ``--help`` and a mistyped option are answered without loading the application.
- On a terminal, help and answers are coloured; piped, they are plain lines.
- A refused input is one or a few lines on the error stream and the status 1; a mistyped command is the status 2.
"""

import gc
import sys
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import Annotated, Any, Literal
from uuid import UUID

import typer

from .. import __version__

COMMANDS = {
    "serve": "serve.serve",
    "demo": "demo.demo",
    "migrate": "migrate.migrate",
    "check": "check.check",
    "backup": "backup.backup",
    "restore": "backup.restore",
    "token create": "token.create",
    "token list": "token.show",
    "token revoke": "token.revoke",
    "worklist": "worklist.worklist",
    "sheet": "sheet.sheet",
    "export": "export.export",
    "quote": "quote.quote",
    "earned": "earned.earned",
    "import": "import_file.import_file",
    "assess": "assess.assess",
    "deliver": "deliver.deliver",
    "ledger verify": "ledger.verify",
    "contract": "contract.contract",
}
"""Each command, and the file and function of ``baizebook.ops.commands`` that do it."""

_MARKUP: Literal["rich"] | None = "rich" if sys.stdout.isatty() else None

app = typer.Typer(
    help="Run a route of coin-operated pool tables: prices, tables, readings, cash and books.",
    epilog="The database is baizebook.db in this folder, or the one that BAIZEBOOK_DATABASE_URL names.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=_MARKUP,
)
token = typer.Typer(no_args_is_help=True, rich_markup_mode=_MARKUP)
ledger = typer.Typer(no_args_is_help=True, rich_markup_mode=_MARKUP)

Host = Annotated[str, typer.Option(help="Address to listen on.", metavar="ADDRESS")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON, as the API answers.")]
Port = Annotated[int, typer.Option(help="Port to listen on.", min=0, max=65_535)]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return its status: 0 done, 1 refused (the reason is on the error stream), 2 mistyped."""
    try:
        app(args=None if arguments is None else list(arguments), prog_name="baizebook")
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else int(end.code is not None)
    finally:
        if arguments is None:  # the process ends: a last search through all that it loaded takes a quarter of a second
            gc.freeze()
    return 0


def _run(command: str, **options: Any) -> None:
    """Look a command up by its name, run it, and end with its status."""
    function = COMMANDS[command]
    gc.disable()  # a fifth of the time of loading would go into the search for garbage that is not there yet
    running = import_module("baizebook.ops.run_command")
    import_module(f"baizebook.ops.commands.{function.partition('.')[0]}")
    gc.freeze()  # what was loaded stays for good
    gc.enable()
    raise typer.Exit(running.run(function, **options))


def _show_version(asked: bool) -> None:
    if asked:
        print(f"baizebook {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", help="Show the version and exit.", callback=_show_version, is_eager=True)
    ] = False,
) -> None:
    """Run a route of coin-operated pool tables: prices, tables, readings, cash and books."""


@app.command()
def serve(
    host: Host = "127.0.0.1",
    port: Port = 8000,
    workers: Annotated[int, typer.Option(help="Processes that share the work.", min=1)] = 1,
) -> None:
    """Update the database, check it, then serve."""
    _run("serve", host=host, port=port, workers=workers)


@app.command()
def demo(
    host: Host = "127.0.0.1",
    port: Port = 8000,
    no_serve: Annotated[bool, typer.Option("--no-serve", help="Load and show the demo, but do not serve it.")] = False,
) -> None:
    """Load an invented route, then serve it.

    The database must be empty.
    """
    _run("demo", host=host, port=port, no_serve=no_serve)


@app.command()
def migrate() -> None:
    """Update the database, or make it."""
    _run("migrate")


@app.command()
def check() -> None:
    """Check the database, its guards and the books."""
    _run("check")


@app.command()
def backup(file: Annotated[Path, typer.Argument(help="File to write. An existing file is never replaced.")]) -> None:
    """Write a verified copy of the database.

    The service may run meanwhile.
    """
    _run("backup", file=file)


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(help="Backup to restore. It is verified first.")],
    force: Annotated[
        bool, typer.Option("--force", help="Replace a database that holds data. That data is lost.")
    ] = False,
) -> None:
    """Replace the database by a backup.

    Stop the service first.
    """
    _run("restore", file=file, force=force)


@token.callback()
def _token() -> None:
    """Make, list and revoke tokens."""


@token.command("create")
def create_token(
    role: Annotated[
        Literal["owner", "collector", "accountant", "venue", "device", "reader"],
        typer.Option(help="What the token may do."),
    ],
    name: Annotated[str, typer.Option(help="Person, phone or program that will use it.", metavar="NAME")],
    venue: Annotated[UUID | None, typer.Option(help="For the role venue: the venue's id.", metavar="ID")] = None,
    table: Annotated[UUID | None, typer.Option(help="For the role device: the table's id.", metavar="ID")] = None,
) -> None:
    """Make a token and print it, once."""
    _run("token create", role=role, name=name, venue=venue, table=table)


@token.command("list")
def list_tokens(json: Json = False) -> None:
    """List all tokens: whose, for what, until when. Never the tokens themselves."""
    _run("token list", as_json=json)


@token.command("revoke")
def revoke_token(
    token: Annotated[str, typer.Argument(help="The token's name, in any case, or its id.", metavar="NAME")],
) -> None:
    """Revoke a token, at once and for good. One that was never used is deleted."""
    _run("token revoke", token=token)


@app.command()
def worklist(
    venue: Annotated[str | None, typer.Option(help="Only this venue: its name or id.", metavar="NAME")] = None,
    person: Annotated[str | None, typer.Option(help="Only work given to this person.", metavar="NAME")] = None,
    json: Json = False,
) -> None:
    """Show what needs doing, where and why, earliest due first. Piped, it is lines of tab-separated values.

    No server is needed.
    """
    _run("worklist", venue=venue, person=person, as_json=json)


@app.command()
def sheet(
    table: Annotated[str, typer.Option(help="Table: its label, in any case, or its id.", metavar="LABEL")],
    on: Annotated[
        str | None, typer.Option(help="Date whose prices to key, such as 2026-12-01. Default: today.", metavar="DATE")
    ] = None,
    json: Json = False,
) -> None:
    """Show the settings sheet of a table: how to key its prices, old beside new.

    No server is needed.
    """
    _run("sheet", table=table, on=on, as_json=json)


@app.command()
def export(
    folder: Annotated[
        Path, typer.Argument(help="Folder to write. One that holds files is never touched.", metavar="FOLDER")
    ],
    month: Annotated[str | None, typer.Option(help="The month, such as 2026-11.", metavar="MONTH")] = None,
    year: Annotated[int | None, typer.Option(help="Instead of a month: the year.", min=2000, max=2099)] = None,
    json: Json = False,
) -> None:
    """Write the books and the reports of a month or a year as files: CSV, beancount, ledger.

    No server is needed.
    """
    if (month is None) == (year is None):
        raise typer.BadParameter("give one of --month and --year")
    _run("export", folder=folder, month=month, year=year, as_json=json)


@app.command()
def quote(
    venue: Annotated[str | None, typer.Option(help="Venue: its name, in any case, or its id.", metavar="NAME")] = None,
    table: Annotated[
        str | None, typer.Option(help="Table: its label, in any case, or its id.", metavar="LABEL")
    ] = None,
    money: Annotated[
        str | None, typer.Option(help='Show what this amount buys, such as "10.00".', metavar="AMOUNT")
    ] = None,
    games: Annotated[
        int | None, typer.Option(help="Show the least that buys this many games.", metavar="COUNT")
    ] = None,
    minutes: Annotated[
        int | None, typer.Option(help="Show the least that buys this many minutes.", metavar="COUNT")
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(
            help="Date and time, such as 2026-12-01T21:00, on the venue's clock. Default: now.", metavar="TIME"
        ),
    ] = None,
    day: Annotated[
        str | None, typer.Option(help="With --time: the next such day, such as tue or Tuesday.", metavar="DAY")
    ] = None,
    time: Annotated[
        str | None, typer.Option(help="With --day: time on the venue's clock, such as 21:00 or 9pm.", metavar="TIME")
    ] = None,
    players: Annotated[int, typer.Option(help="Number of players, where a rate is per player.", metavar="COUNT")] = 1,
    basis: Annotated[
        Literal["listed"] | None, typer.Option(help="For a table: the listed prices, not those it sells.")
    ] = None,
    json: Json = False,
) -> None:
    """Show what an amount buys at a place and time.

    No server is needed.
    """
    if (venue is None) == (table is None):
        raise typer.BadParameter("give one of --venue and --table")
    if [money, games, minutes].count(None) != 2:
        raise typer.BadParameter("give one of --money, --games and --minutes")
    asked = {"at": at, "day": day, "time": time, "money": money, "games": games, "minutes": minutes, "basis": basis}
    asked = {name: value for name, value in asked.items() if value is not None}
    _run("quote", venue=venue, table=table, asked={**asked, "players": players}, as_json=json)


@app.command("import")
def import_file(
    file: Annotated[Path, typer.Argument(help="CSV or XLSX file. A readings file may have any length.")],
    of: Annotated[
        Literal["venues", "tables", "tariffs", "agreements", "readings", "collections", "opening_balances"],
        typer.Option(help="What the lines are."),
    ],
    preview: Annotated[bool, typer.Option("--preview", help="Say what would happen, and store nothing.")] = False,
    mode: Annotated[
        Literal["all", "lines"],
        typer.Option(help="all: store nothing if a line is refused. lines: store each that is not refused."),
    ] = "all",
    mapping: Annotated[
        str,
        typer.Option(help='What columns are: "Header:field; Header:-" (- leaves one out). Remembered.', metavar="TEXT"),
    ] = "",
    dates: Annotated[
        Literal["dmy", "mdy", "ymd"] | None, typer.Option(help="The order of dates such as 03/04/2026. Remembered.")
    ] = None,
    decimals: Annotated[
        Literal["comma", "point"] | None, typer.Option(help="The sign before the decimals of 1,234. Remembered.")
    ] = None,
    time_of_day: Annotated[
        str | None, typer.Option(help="The time of dates that have none, such as 12:00.", metavar="TIME")
    ] = None,
    encoding: Annotated[
        Literal["utf-8", "utf-16", "cp1252"] | None, typer.Option(help="Of a CSV that is not UTF-8.")
    ] = None,
    sheet: Annotated[str | None, typer.Option(help="The sheet of a workbook that has several.", metavar="NAME")] = None,
) -> None:
    """Store the lines of a CSV or XLSX file.

    The same file again changes nothing, so a stopped import can be started again.
    """
    _run(
        "import",
        file=file,
        of=of,
        preview=preview,
        mode=mode,
        mapping=mapping,
        dates=dates,
        decimals=decimals,
        time_of_day=time_of_day,
        encoding=encoding,
        sheet=sheet,
    )


@app.command()
def earned(
    month: Annotated[str, typer.Option(help="The month, such as 2026-11.", metavar="MONTH")],
    by: Annotated[
        str,
        typer.Option(
            help="What to group by, separated by commas: table, venue, agreement, week, month, year, denomination.",
            metavar="NAMES",
        ),
    ] = "venue",
    json: Json = False,
) -> None:
    """Show what was earned in a month. Piped, it is lines of tab-separated values.

    No server is needed.
    """
    _run("earned", by=by, month=month, as_json=json)


@app.command()
def assess() -> None:
    """Update the worklist of every table. Once a day is enough."""
    _run("assess")


@app.command()
def deliver(
    once: Annotated[bool, typer.Option("--once", help="Send what is due now, then end.")] = False,
) -> None:
    """Send webhooks until stopped. One process for a database."""
    _run("deliver", once=once)


@ledger.callback()
def _ledger() -> None:
    """Verify the books."""


@ledger.command("verify")
def verify_ledger() -> None:
    """Verify the chain of entries and name the first that does not fit."""
    _run("ledger verify")


@app.command()
def contract() -> None:
    """Print the OpenAPI contract."""
    _run("contract")


app.add_typer(token, name="token")
app.add_typer(ledger, name="ledger")
