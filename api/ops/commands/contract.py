"""``baizebook contract``: the OpenAPI contract."""

import json
import sys
from typing import Any

from ...app import create_app


def contract() -> None:
    """Print the contract as it is committed."""
    sys.stdout.write(contract_text(create_app().openapi()))


def contract_text(contract: dict[str, Any]) -> str:
    """Return the contract as it is committed: JSON, two spaces, one line end at the end."""
    return json.dumps(contract, indent=2, ensure_ascii=False) + "\n"
