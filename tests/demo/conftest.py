"""The demo for the tests of this folder: loaded at noon, a copy for each test."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from tests.conftest import NOON
from tests.demo.loaded_demo import loaded_demo


@pytest.fixture
def database_url(database_kind: str) -> Iterator[str]:
    """A database of this test's own with the demo, of each kind in turn."""
    with loaded_demo(NOON, database_kind) as url:
        yield url


@pytest.fixture
def demo(at_noon: TestClient) -> TestClient:
    """The service on the demo, its clock standing at noon."""
    return at_noon
