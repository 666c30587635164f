"""The fleet review and one unit's page, byte for byte; see README.md beside this file on accepting a change."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.fleet import small_fleet

HERE = Path(__file__).parent
PAGES = {"fleet-review.html": "index.html", "unit.html": "*/unit/u-000-*.html"}


def scrubbed(text: str) -> str:
    """Return the page without its content hashes."""
    return re.sub(r"(?<![0-9a-f])[0-9a-f]{12}(?![0-9a-f])", "HASH", text)


@pytest.fixture(scope="module")
def dashboards(tmp_path_factory: pytest.TempPathFactory) -> Path:
    shop = tmp_path_factory.mktemp("golden")
    publish(small_fleet(12, hostile=False).query, shop, Settings())
    return shop / "dashboards"


@pytest.mark.parametrize("name", sorted(PAGES))
def test_page_is_as_accepted(dashboards: Path, name: str) -> None:
    actual = scrubbed(next(dashboards.glob(PAGES[name])).read_text("utf-8"))
    golden = HERE / "pages" / name
    if os.environ.get("ACCEPT_GOLDEN"):
        golden.parent.mkdir(exist_ok=True)
        golden.write_text(actual, "utf-8")
    expected = golden.read_text("utf-8") if golden.exists() else ""
    if actual != expected:
        (HERE / "actual").mkdir(exist_ok=True)
        (HERE / "actual" / name).write_text(actual, "utf-8")
    assert actual == expected, f"compare tests/golden/actual/{name} with tests/golden/pages/{name}"


def test_scrubbing_takes_out_hashes_only() -> None:
    assert scrubbed("site-0123456789ab.css u-000-0123456789 2026") == "site-HASH.css u-000-0123456789 2026"
