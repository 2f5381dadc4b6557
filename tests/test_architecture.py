"""The shape of the code, as short tables that fail the build: the floors, the rooms, what is pure, how explained."""

import ast
import sys
import tomllib
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).parent.parent
API = ROOT / "api"
FILES = sorted(API.rglob("*.py"))

FLOORS = (
    "ops",
    "demo",
    "app",
    "imports",
    "calendars",
    "pictures",
    "paper",
    "monitoring",
    "inventory",
    "lifecycle",
    "trips",
    "worklist",
    "reports",
    "proposals",
    "what_if",
    "price_changes",
    "play",
    "earnings",
    "health",
    "collections",
    "jobs",
    "settlements",
    "quotes",
    "date_sets",
    "publications",
    "controllers",
    "readings",
    "schedules",
    "tariffs",
    "tokens",
    "ledger",
    "pool_tables",
    "webhooks",
    "venues",
    "tax_areas",
    "web",
    "store",
    "pricing",
)
"""From the top down: a folder imports only folders below it."""

DOMAINS = set(FLOORS) - {"ops", "demo", "app", "web", "store", "pricing"}
"""The folders that have rooms."""

ROOMS = {"routes", "service", "queries", "rows", "schemas", "convert"}
"""The only files of a domain that may know the ORM or the framework; every other is a noun of the trade, and pure."""

ALLOWED_IN = {
    "routes": {"fastapi", "starlette", "sqlmodel", "pydantic", "pydantic_core"},
    "service": {"sqlmodel", "sqlalchemy", "pydantic"},
    "queries": {"sqlmodel", "sqlalchemy"},
    "rows": {"sqlmodel", "sqlalchemy"},
    "schemas": {"pydantic"},
    "convert": {"pydantic"},
}
"""What each room may import beside the standard library and this package."""

PURE_LIBRARIES = {
    "calendars/calendar_file.py": {"icalendar"},
    "monitoring/exposition.py": {"prometheus_client"},
    "date_sets/calendar_file.py": {"icalendar"},
    "date_sets/public_holidays.py": {"holidays"},
    "imports/workbook.py": {"openpyxl", "defusedxml"},
    "paper/page.py": {"jinja2", "markupsafe", "segno"},
    "schedules/recurrence.py": {"dateutil"},
}
"""Libraries that decide something of the trade, and the pure files that ask them."""

PURE_BELOW = {"pricing"}
"""Folders of which a pure file may import everything; of other folders it may import pure files."""


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text())


@cache
def imports(path: Path) -> list[tuple[str, ...]]:
    """Return what a file imports: of this package as a path inside it (``("store", "db")``), else as ``("", name)``."""
    package = ("baizebook", *path.relative_to(API).parts[:-1])
    found: list[tuple[str, ...]] = []
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            found += [("", alias.name.split(".")[0]) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            full = (*base, *(node.module.split(".") if node.module else ()))
            if full[0] != "baizebook":
                found.append(("", full[0]))
            elif not (API.joinpath(*full[1:]).with_suffix(".py")).exists():
                found += [
                    (*full[1:], alias.name) if is_module((*full[1:], alias.name)) else full[1:] for alias in node.names
                ]
            else:
                found.append(full[1:])
    return found


def is_module(parts: tuple[str, ...]) -> bool:
    path = API.joinpath(*parts)
    return path.with_suffix(".py").exists() or path.is_dir()


def folder_of(path: Path) -> str:
    relative = path.relative_to(API)
    return relative.parts[0] if len(relative.parts) > 1 else relative.stem


def room_of(path: Path) -> str | None:
    return path.stem if folder_of(path) in DOMAINS and path.stem in ROOMS else None


def is_pure(path: Path) -> bool:
    return folder_of(path) in DOMAINS and path.stem not in ROOMS and path.stem != "__init__"


def test_every_folder_has_its_floor() -> None:
    assert {folder_of(path) for path in FILES} - {"__init__", "__main__"} == set(FLOORS)


def test_a_folder_imports_only_folders_below_it() -> None:
    height = {name: -place for place, name in enumerate(FLOORS)}
    wrong = [
        f"{path.relative_to(API)} imports {'.'.join(imported)}"
        for path in FILES
        if folder_of(path) in height
        for imported in imports(path)
        if imported and imported[0] in height and folder_of(path) != imported[0]
        if height[imported[0]] >= height[folder_of(path)]
    ]
    assert wrong == []


def test_no_file_stands_in_a_circle() -> None:
    graph = {
        path.relative_to(API).with_suffix("").parts: {
            found if not API.joinpath(*found).is_dir() else (*found, "__init__")
            for found in imports(path)
            if found[:1] != ("",)
        }
        for path in FILES
    }
    assert list(TopologicalSorter(graph).static_order())


def test_a_room_knows_only_what_is_its_own() -> None:
    wrong = [
        f"{path.relative_to(API)} imports {found[1]}"
        for path in FILES
        if (room := room_of(path)) is not None
        for found in imports(path)
        if found[:1] == ("",) and found[1] not in sys.stdlib_module_names | ALLOWED_IN[room]
    ]
    assert wrong == []


def test_rooms_of_a_folder_import_downwards() -> None:
    order = ("rows", "schemas", "convert", "queries", "service", "routes")
    wrong = [
        f"{path.relative_to(API)} imports {found[1]}"
        for path in FILES
        if (room := room_of(path)) is not None
        for found in imports(path)
        if found[:1] == (folder_of(path),) and len(found) > 1 and found[1] in order
        if order.index(found[1]) > order.index(room)
    ]
    assert wrong == []


def test_any_other_file_of_a_domain_is_pure() -> None:
    wrong = []
    for path in filter(is_pure, FILES):
        known = sys.stdlib_module_names | PURE_LIBRARIES.get(str(path.relative_to(API)), set())
        for found in imports(path):
            if found[:1] == ("",):
                fine = found[1] in known
            else:
                target = API.joinpath(*found).with_suffix(".py")
                fine = found[0] in PURE_BELOW or is_pure(target) or found[:2] == ("web", "csv_text")
            if not fine:
                wrong.append(f"{path.relative_to(API)} imports {'.'.join(found)}")
    assert wrong == []


def test_the_one_place_that_writes_csv_is_pure() -> None:
    assert all(found[0] == "" and found[1] in sys.stdlib_module_names for found in imports(API / "web/csv_text.py"))


def test_the_engine_imports_the_standard_library_and_itself() -> None:
    for path in (API / "pricing").glob("*.py"):
        for found in imports(path):
            assert found[0] == "pricing" or found[1] in sys.stdlib_module_names, f"{path.name}: {found}"


def test_the_wall_clock_is_read_in_one_place() -> None:
    forbidden = ("datetime.now(", "datetime.utcnow(", "date.today(", "time.time(", "time.time_ns(")
    wrong = {
        str(path.relative_to(API)): found
        for path in FILES
        if path != API / "store" / "clock.py"
        if (found := [word for word in forbidden if word in path.read_text()])
    }
    assert wrong == {}


def test_imports_stand_at_the_top() -> None:
    wrong = [
        f"{path.relative_to(API)}: {function.name}"
        for path in FILES
        for function in ast.walk(tree_of(path))
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef)
        if any(isinstance(node, ast.Import | ast.ImportFrom) for node in ast.walk(function))
    ]
    assert wrong == []


def test_modules_and_public_names_are_explained() -> None:
    wrong = []
    for path in FILES:
        tree = tree_of(path)
        if tree.body and not ast.get_docstring(tree):
            wrong.append(str(path.relative_to(API)))
        wrong += [
            f"{path.relative_to(API)}: {node.name}"
            for node in tree.body
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
            if not node.name.startswith("_") and not ast.get_docstring(node)
        ]
    assert wrong == []


def test_a_name_of_a_class_a_type_or_a_constant_means_one_thing() -> None:
    places: dict[str, list[str]] = {}
    for path in FILES:
        for node in ast.parse(path.read_text()).body:
            names = [node.name] if isinstance(node, ast.ClassDef) else []
            if isinstance(node, ast.Assign | ast.AnnAssign):
                targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                names = [target.id for target in targets if isinstance(target, ast.Name)]
            for name in names:
                if not name.startswith("_") and len(name) > 1 and name != "router":
                    places.setdefault(name, []).append(str(path.relative_to(API)))
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


def test_every_folder_is_in_the_package() -> None:
    listed = set(tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"])
    folders = {".".join(("baizebook", *path.parent.relative_to(API).parts)) for path in FILES}
    assert listed == folders | {"baizebook.migrations", "baizebook.migrations.versions"}


def test_only_the_agreed_names_stand_at_the_top() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "Dockerfile"}
    agreed |= {"api", "migrations", "tests", "openapi"}
    made = {"build", "dist"}
    found = {
        path.name for path in ROOT.iterdir() if not path.name.startswith(".") and not path.name.endswith(".egg-info")
    }
    assert {name for name in found - made if ".db" not in name} == agreed
