"""The shape of the code, as rules that fail the build: who may import whom, what is pure, how long, how explained."""

import ast
import sys
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).parent.parent
FILES = sorted((ROOT / "api").rglob("*.py"))

LEVELS = (
    ("pricing",),
    ("settings", "problems", "redaction"),
    ("examples", "errors", "db", "transactions", "wire", "methods", "openapi", "paging"),
    ("access", "clock"),
    ("routing", "frame", "migrate", "connection"),
    ("tariffs", "venues", "ledger"),
    ("schedules", "readings"),
    ("sheets", "quotes"),
    ("cash", "health"),
    ("worklist",),
)
"""The domains and shared modules from the bottom up: services import downwards only, never sideways."""
ROUTES, ROWS, MAIN, DEMO, CLI = range(len(LEVELS), len(LEVELS) + 5)
CLI_MODULES = {"cli", "__main__", "doctor", "backup", "serving"}
SHARED = {
    "examples",
    "errors",
    "db",
    "transactions",
    "wire",
    "methods",
    "openapi",
    "paging",
    "access",
    "clock",
    "settings",
    "problems",
    "redaction",
}
"""Modules that stand on one level and may know each other, so long as there is no circle."""

WEB = {"fastapi", "starlette", "fastapi_offline"}
KNOWS_THE_WEB = {
    "main",
    "clock",
    "db",
    "doctor",
    "errors",
    "frame",
    "methods",
    "openapi",
    "paging",
    "routing",
    "serving",
    "watch",
}
"""Beside every routes.py and the folder access/, the only modules that know the web framework."""

NOT_PURE = {
    "access": "who is asking is a matter of the request",
    "api/cash/messages.py": "the types of its messages",
    "api/cash/writing.py": "writes messages",
    "api/quotes/terminal.py": "answers on the terminal: it asks the database",
    "api/quotes/writing.py": "writes messages",
    "api/health/translation.py": "reads and writes messages",
    "api/ledger/writing.py": "writes messages",
    "api/readings/translation.py": "reads and writes messages",
    "api/readings/words.py": "the types of its messages",
    "api/tariffs/translation.py": "reads and writes messages",
    "api/schedules/translation.py": "reads and writes messages",
    "api/venues/writing.py": "writes messages",
    "demo": "loads through the services",
}
"""Files of a domain beside routes, service and models that are not pure, and why."""


@cache
def graph() -> grimp.ImportGraph:
    return grimp.build_graph("api", include_external_packages=True, cache_dir=None)


def modules() -> list[str]:
    return sorted(name for name in graph().modules if name.startswith("api."))


def level(module: str) -> int:
    """Return how high a module stands."""
    parts = module.split(".")
    if parts[-1] == "routes" or parts[1] == "watch":
        return ROUTES
    for number, names in ((ROWS, {"rows"}), (MAIN, {"main"}), (DEMO, {"demo"}), (CLI, CLI_MODULES)):
        if parts[1] in names:
            return number
    return next(number for number, names in enumerate(LEVELS) if parts[1] in names)


def test_every_module_has_its_level() -> None:
    for module in modules():
        level(module)


def test_imports_go_downwards_only() -> None:
    wrong = []
    for importer in modules():
        for imported in graph().find_modules_directly_imported_by(importer):
            if not imported.startswith("api."):
                continue
            ours, theirs = importer.split(".")[1], imported.split(".")[1]
            sideways = level(importer) == level(imported) and ours != theirs and not {ours, theirs} <= SHARED
            if level(importer) < level(imported) or (sideways and level(importer) < ROUTES):
                wrong.append(f"{importer} imports {imported}")
    assert wrong == []


def test_inside_a_domain_models_never_import_the_service_nor_services_routes() -> None:
    order = {"models": 0, "service": 1, "routes": 2}
    for importer in modules():
        for imported in graph().find_modules_directly_imported_by(importer):
            ours, theirs = importer.split("."), imported.split(".")
            if len(ours) == len(theirs) == 3 and ours[1] == theirs[1] and ours[2] in order and theirs[2] in order:
                assert order[ours[2]] > order[theirs[2]], f"{importer} imports {imported}"


def test_there_is_no_circle_between_modules() -> None:
    known = set(modules())
    below = {module: graph().find_modules_directly_imported_by(module) & known for module in known}
    assert list(TopologicalSorter(below).static_order())


def test_only_the_named_modules_know_the_web_framework() -> None:
    for module in modules():
        parts = module.split(".")
        imported = {name.split(".")[0] for name in graph().find_modules_directly_imported_by(module)}
        if imported & WEB:
            assert parts[-1] == "routes" or parts[1] in KNOWS_THE_WEB | {"access"}, module


def test_the_engine_imports_the_standard_library_and_itself_by_relative_imports() -> None:
    for path in (ROOT / "api" / "pricing").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Import):
                names = [alias.name.split(".")[0] for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                names = [str(node.module).split(".")[0]]
            else:
                continue
            assert set(names) <= sys.stdlib_module_names, f"{path.name}: {names}"


def is_pure(path: Path) -> bool:
    relative = path.relative_to(ROOT)
    domain = relative.parts[1]
    return (
        len(relative.parts) == 3
        and path.stem not in ("__init__", "routes", "models")
        and not path.stem.endswith("service")
        and domain not in NOT_PURE
        and str(relative) not in NOT_PURE
    )


@pytest.mark.parametrize(
    "path", [path for path in FILES if is_pure(path)], ids=lambda path: str(path.relative_to(ROOT))
)
def test_any_other_file_of_a_domain_is_pure(path: Path) -> None:
    allowed = {"dateutil"} if path.name == "recurrence.py" else set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and node.level == 0:
            module = str(node.module)
        elif isinstance(node, ast.Import):
            module = node.names[0].name
        else:
            continue
        if module.startswith("api."):
            parts = module.split(".")
            assert parts[1] == "pricing" or is_pure(ROOT / "api" / parts[1] / f"{parts[2]}.py"), f"{path}: {module}"
        else:
            assert module.split(".")[0] in sys.stdlib_module_names | allowed, f"{path}: {module}"


def test_the_wall_clock_is_read_in_one_place() -> None:
    forbidden = ("datetime.now(", "datetime.utcnow(", "date.today(", "time.time(", "time.time_ns(")
    for path in FILES:
        if path.name != "clock.py":
            found = [word for word in forbidden if word in path.read_text()]
            assert found == [], f"{path}: {found}"


def functions(path: Path) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    tree = ast.parse(path.read_text())
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_functions_are_short_and_imports_stand_at_the_top(path: Path) -> None:
    for function in functions(path):
        length = (function.end_lineno or 0) - function.lineno + 1
        assert length <= 70, f"{function.name} has {length} lines"
        inside = [node for node in ast.walk(function) if isinstance(node, ast.Import | ast.ImportFrom)]
        assert inside == [], f"{function.name} imports inside"


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_and_public_names_are_explained(path: Path) -> None:
    tree = ast.parse(path.read_text())
    if path.name != "__init__.py" or tree.body:
        assert ast.get_docstring(tree), path
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{path}: {node.name}"


def test_only_the_agreed_names_stand_at_the_top() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "Dockerfile"}
    agreed |= {"api", "migrations", "tests", "openapi"}
    made = {"build", "dist"}
    found = {
        path.name for path in ROOT.iterdir() if not path.name.startswith(".") and not path.name.endswith(".egg-info")
    }
    assert {name for name in found - made if ".db" not in name} == agreed
