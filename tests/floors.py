"""Draws the floors of the code: ``python -m tests.floors`` prints the picture that DEVELOPERS.md opens with."""

import ast

from tests.test_architecture import API, FLOORS


def floors() -> str:
    """Return one line a folder, the top floor first: its name, and what its own docstring says it is."""
    width = max(map(len, FLOORS)) + 3
    return "\n".join(f"{_name(floor):{width}}{_says(floor)}" for floor in FLOORS)


def _name(floor: str) -> str:
    return f"{floor}/" if (API / floor).is_dir() else f"{floor}.py"


def _says(floor: str) -> str:
    path = API / floor / "__init__.py" if (API / floor).is_dir() else API / f"{floor}.py"
    docstring = ast.get_docstring(ast.parse(path.read_text())) or ""
    first = docstring.splitlines()[0].removesuffix(".")
    return first[:1].lower() + first[1:]


if __name__ == "__main__":
    print(floors())
