"""The table of worst costs asks each operation of the contract, by a request of its own or by its example."""

import json
from pathlib import Path

from tests.benchmarks import costs

CONTRACT = json.loads((Path(__file__).parents[2] / "openapi" / "openapi.json").read_text())
OPERATIONS = {operation["operationId"] for path in CONTRACT["paths"].values() for operation in path.values()}


class Anything:
    """Stands for the dense route: whatever is asked of it, rows of requests can be built."""

    venues = tables = schedules = tariffs = hall_tables = tuple(str(number) for number in range(300))
    venue = table = old = old_table = old_collection = hall = few_venue = few_table = "1"

    def schedule(self, **_: str) -> dict[str, str]:
        return {}

    few = schedule


def test_a_row_asks_an_operation_that_there_is_and_every_list_and_report_has_one_of_its_own() -> None:
    asked = {row.operation for row in costs.rows(Anything())}  # type: ignore[arg-type]
    assert asked <= OPERATIONS
    of_many = {
        name for name in OPERATIONS if name.startswith(("list_", "export_", "record_", "import_")) or "report" in name
    }
    of_few = {
        "list_agreements", "list_date_sets", "list_keyings", "list_moves", "list_public_holidays", "list_sheet_links",
        "list_tax_areas", "list_tokens", "list_trips", "list_webhook_deliveries", "list_webhook_endpoints", "record_keying",
    }  # fmt: skip
    assert of_many - asked - {"report_job"} == of_few
