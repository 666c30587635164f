"""One Chromium for all browser tests; without one they skip and say why, or fail where it is promised."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.fleet import fleet_of_one, poor_fleet, small_fleet

REQUIRED = os.environ.get("PRESEASON_BROWSER_REQUIRED") == "1"


def missing(why: str) -> NoReturn:
    """Skip with the reason; where the browser is promised, fail with it."""
    if REQUIRED:
        pytest.fail(f"{why} (PRESEASON_BROWSER_REQUIRED=1 promises it)")
    pytest.skip(why)


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright is not installed: install the test extras")
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        missing("no Chromium on the path: install the system package chromium")
    with sync_playwright() as playwright:
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
