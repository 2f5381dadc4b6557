"""An owner's spreadsheets come in twice, the second time changing nothing; a stopped import goes on where it was."""

from pathlib import Path

from baizebook.store.db import get_engine
from sqlalchemy import Engine, inspect, text

from tests.conftest import Run
from tests.imports.owners_files import readings_csv, tables_csv, venues_csv
from tests.listening import listen, unlisten


def stored(engine: Engine) -> dict[str, int]:
    """Count the rows of every table of the database."""
    with engine.connect() as connection:
        return {
            name: connection.execute(text(f'SELECT count(*) FROM "{name}"')).scalar_one()
            for name in inspect(engine).get_table_names()
        }


def files(folder: Path, *, venues: int, lines: int) -> list[tuple[str, Path]]:
    """Write an owner's files."""
    made = {
        "venues": venues_csv(venues),
        "tables": tables_csv(venues),
        "readings": "".join(readings_csv(lines, tables=venues * 3)),
    }
    for of, content in made.items():
        (folder / f"{of}.csv").write_text(content, newline="")
    return [(of, folder / f"{of}.csv") for of in made]


def test_an_owners_files_twice_the_second_time_changing_nothing(run: Run, engine: Engine, tmp_path: Path) -> None:
    for of, path in files(tmp_path, venues=4, lines=1_100):
        status, out, err = run("import", str(path), "--of", of)
        assert (status, err) == (0, "")
    assert out == "1100 new, 0 same, 0 changed, 0 refused. Stored.\n"
    before = stored(engine)
    assert (before["venue"], before["pool_table"], before["reading"]) == (4, 12, 1_100)
    for of, path in files(tmp_path, venues=4, lines=1_100):
        status, out, _ = run("import", str(path), "--of", of)
        assert (status, " 0 changed, 0 refused. Stored." in out) == (0, True)
    assert out == "0 new, 1100 same, 0 changed, 0 refused. Stored.\n"
    assert stored(engine) == before


def test_a_preview_and_a_refused_line_store_nothing_of_a_long_file(run: Run, engine: Engine, tmp_path: Path) -> None:
    (_, venues), (_, tables), (_, readings) = files(tmp_path, venues=2, lines=1_050)
    run("import", str(venues), "--of", "venues")
    run("import", str(tables), "--of", "tables")
    before = stored(engine)
    status, out, _ = run("import", str(readings), "--of", "readings", "--preview")
    assert (status, out.splitlines()[-1]) == (0, "1050 new, 0 same, 0 changed, 0 refused. Nothing was stored.")
    assert any("03/04/2026" in line for line in out.splitlines())
    whole = readings.read_text()
    readings.write_text(whole + "F-999,2025-02-01,10:00,1,1,12.5,\n")
    status, out, err = run("import", str(readings), "--of", "readings")
    assert (status, out) == (1, "1050 new, 0 same, 0 changed, 1 refused. Nothing was stored.\n")
    assert err.startswith("Line 1052: Unknown name. table: found 'F-999'")
    assert stored(engine) == before
    status, out, _ = run("import", str(readings), "--of", "readings", "--mode", "lines")
    assert (status, out) == (1, "1050 new, 0 same, 0 changed, 1 refused. Stored.\n")


def test_a_stopped_import_goes_on_without_doubling(run: Run, engine: Engine, tmp_path: Path) -> None:
    (_, venues), (_, tables), (_, readings) = files(tmp_path, venues=2, lines=2_500)
    run("import", str(venues), "--of", "venues")
    run("import", str(tables), "--of", "tables")
    commits = 0

    def stop_at_the_third(_: object) -> None:
        nonlocal commits
        commits += 1
        if commits == 3:
            raise KeyboardInterrupt

    used = get_engine()
    listen(used, "commit", stop_at_the_third)
    status, out, err = run("import", str(readings), "--of", "readings", "--mode", "lines")
    unlisten(used, "commit", stop_at_the_third)
    assert (status, out) == (130, "")
    assert err == "Stopped. What was stored stays; run the same command again to store the rest.\n"
    assert stored(engine)["reading"] == 2_000
    status, out, _ = run("import", str(readings), "--of", "readings", "--mode", "lines")
    assert (status, out) == (0, "500 new, 2000 same, 0 changed, 0 refused. Stored.\n")
    assert stored(engine)["reading"] == 2_500


def test_what_is_wrong_with_the_file_or_an_option_is_said(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "venues.csv"
    path.write_text("Bar,Zone\nThe Tin Heron,America/Chicago\n")
    status, _, err = run("import", str(path), "--of", "venues")
    assert (status, err.splitlines()[0]) == (1, "Unknown column.")
    assert run("import", str(tmp_path / "absent.csv"), "--of", "venues")[0] == 1
    status, _, err = run("import", str(path), "--of", "venues", "--time-of-day", "noon")
    assert (status, "--time-of-day" in err) == (1, True)
