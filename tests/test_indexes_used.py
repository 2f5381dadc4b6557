"""What pages ask of tables that grow is found by an index, whatever there is of it.

On SQLite alone: PostgreSQL walks through a table that is nearly empty, whatever indexes it has.
"""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from tests.benchmarks._plans import explained, recorded
from tests.conftest import Route


@pytest.mark.parametrize(
    ("path", "index"),
    [
        ("/v1/tables", "ix_reading_controller_version"),
        ("/v1/tables/{table_id}/health", "ix_stay_void_placed_at"),
        ("/v1/worklist?kind=collect", "ix_work_kind"),
        (
            "/v1/reports/earnings?from=2026-11-01&to=2026-12-01&by=table",
            "ix_earned_box_pool_table_id_collected_at_collection_id",
        ),
    ],
)
def test_a_page_is_read_by_its_index(at_noon: TestClient, engine: Engine, route: Route, path: str, index: str) -> None:
    table = route.table(route.venue()["id"])
    with recorded(engine) as made:
        assert at_noon.get(path.format(table_id=table["id"])).status_code == 200
    used = [read.index or "" for one in explained(engine, made) for read in one.reads]
    assert any(index in words.split() for words in used), used


def test_when_a_box_was_last_emptied_is_found_on_indexes(at_noon: TestClient, engine: Engine, route: Route) -> None:
    venue = route.venue()["id"]
    box = {"table_id": route.table(venue)["id"], "counted": {"1.00": 4}}
    collection = {
        "id": "01000000-0000-4000-8000-000000000001",
        "venue_id": venue,
        "collected_at": "2026-11-25T16:00:00Z",
        "collector": "Ana",
        "tables": [box],
    }
    with recorded(engine) as made:
        assert at_noon.post("/v1/collections/preview", json=collection).status_code == 200
    used = {word for one in explained(engine, made) for read in one.reads for word in (read.index or "").split()}
    assert {
        "ix_collected_table_pool_table_id_collection_id",
        "ix_collection_id_collected_at",
        "ix_collected_table_emptied_before",
    } <= used
