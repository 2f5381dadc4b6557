"""The two pictures of the README: a venue's week and a price card, as the demo's service draws them.

``python -m tests.pictures`` makes them again, with Chromium for the card. The card is a PNG that holds the SHA-256 of the
page that it shows, by which a test without a browser knows that it is of today's page.
"""

import hashlib
import re
import shutil
import struct
import subprocess
import tempfile
import zlib
from pathlib import Path

from baizebook.app import create_app
from baizebook.store.db import make_engine
from baizebook.web.examples import DEMO_IDS
from fastapi.testclient import TestClient

from tests.conftest import NOON
from tests.databases import OWNER_TOKEN, settings_for
from tests.demo.loaded_demo import loaded_demo

ASSETS = Path(__file__).parent.parent / "api" / "web" / "assets"
WEEK, CARD = ASSETS / "week.svg", ASSETS / "price-card.png"
_SIZE = "760,460"
_HASH_OF = b"page-sha256"


def drawn_week(client: TestClient) -> str:
    """Return the week of the Copper Lantern."""
    return _asked(client, f"/v1/venues/{DEMO_IDS['venue lantern']}/week.svg?on=2026-12-01")


def card_page(client: TestClient) -> str:
    """Return the price card of the Zum blauen Keiler as a page, with its stylesheet beside it."""
    page = _asked(client, f"/v1/venues/{DEMO_IDS['venue keiler']}/price-card.html")
    return page.replace("/assets/paper.css", "paper.css")


def _asked(client: TestClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.text
    return answer.text


def hash_of_page(page: str) -> str:
    """Return the hash of what a page and its stylesheet say."""
    return hashlib.sha256((page + (ASSETS / "paper.css").read_text()).encode()).hexdigest()


def hash_in_picture(picture: bytes) -> str:
    """Return the hash that a PNG holds."""
    found = re.search(re.escape(_HASH_OF) + rb"\0([0-9a-f]{64})", picture)
    return found[1].decode() if found else ""


def _photographed(page: str) -> bytes:
    """Return a PNG of the top of a page, as Chromium shows it."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(ASSETS / "paper.css", folder)
        Path(folder, "page.html").write_text(page)
        made = Path(folder, "page.png")
        options = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            f"--window-size={_SIZE}",
            f"--screenshot={made}",
        ]
        address = Path(folder, "page.html").as_uri()
        subprocess.run(["chromium", *options, address], check=True, capture_output=True, timeout=60)
        return made.read_bytes()


def _with_hash(picture: bytes, said: str) -> bytes:
    """Return a PNG with a text chunk (PNG specification, 11.3.3.2) before its end."""
    data = _HASH_OF + b"\0" + said.encode()
    chunk = struct.pack(">I", len(data)) + b"tEXt" + data + struct.pack(">I", zlib.crc32(b"tEXt" + data))
    end = picture.index(b"IEND") - 4
    return picture[:end] + chunk + picture[end:]


if __name__ == "__main__":
    with loaded_demo() as url:
        settings = settings_for(url)
        app = create_app(settings, make_engine(settings))
        app.state.clock = lambda: NOON
        headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
        with TestClient(app, base_url="http://127.0.0.1:8000", headers=headers) as client:
            WEEK.write_text(drawn_week(client))
            page = card_page(client)
            CARD.write_bytes(_with_hash(_photographed(page), hash_of_page(page)))
