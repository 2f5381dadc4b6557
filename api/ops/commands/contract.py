"""``baizebook contract``: the OpenAPI contract."""

import json
import sys

from ...app import create_app


def contract() -> None:
    """Print the contract as it is committed."""
    sys.stdout.write(contract_text())


def contract_text() -> str:
    """Return the contract as it is committed: JSON, two spaces, one line end at the end."""
    return json.dumps(create_app().openapi(), indent=2, ensure_ascii=False) + "\n"
