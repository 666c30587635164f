"""One Chromium for all browser tests; without one they skip and say why."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.fleet import fleet_of_one, poor_fleet, small_fleet

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed: install the test extras")


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        pytest.skip("no Chromium on the path: install the system package chromium")
    with sync_api.sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-dev-shm-usage"])
        yield made
        made.close()


@pytest.fixture(scope="session")
def sites(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Dashboards folders by kind of fleet."""
    fleets = {"hostile": small_fleet(), "poor": poor_fleet(), "none_flagged": fleet_of_one(flagged=False)}
    folders = {}
    for name, fleet in fleets.items():
        shop = tmp_path_factory.mktemp(name)
        publish(fleet.query, shop, Settings())
        folders[name] = shop / "dashboards"
    return folders
